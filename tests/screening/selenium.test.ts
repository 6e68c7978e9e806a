/** Selenium rectifiers: forward volts by plates at two currents, leakage, which way round they lie, and what is said of them. */
import { describe, expect, it } from 'vitest'
import { Component } from '../../mocks/components/component.ts'
import { usualRatings, type ComponentKind, type Rating } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { decide } from '../../src/parts/decide.ts'
import { kindOfWords } from '../../src/parts/kinds.ts'
import { partsPolicy } from '../../src/schema/parts-policy.ts'
import type { PartsLine } from '../../src/schema/parts-list.ts'
import { prove } from '../../src/screening/at-jig.ts'
import { armPlatesMost, seleniumBridge, seleniumRectifier } from '../../src/screening/from-list-selenium.ts'
import { itemsOf } from '../../src/screening/from-list.ts'
import { judge } from '../../src/screening/grade.ts'
import { leakedAt } from '../../src/screening/methods/selenium.ts'
import type { Diode, ToProve } from '../../src/screening/to-prove.ts'
import { asked } from './asked.ts'
import { PhysicsJig } from './physics-jig.ts'

const line = (over: Partial<PartsLine>): PartsLine => ({
  line: 2, designators: ['D1'], quantity: 1, kind: 'diode', kindFrom: 'list', material: 'selenium', dielectrics: [], safetyClasses: [], valueText: '',
  value: null, toleranceMinus: null, tolerancePlus: null, ratedV: null, ratedForm: null, ratedW: null, tempcoPpmPerK: null, ratingText: '', where: null, note: '',
  ...over,
})
const stack = (plates: number, over: Record<string, number> = {}, pins = ['anode', 'cathode']): { part: Component; asks: Diode } => {
  const rating: Rating = { value: 25 * plates, tolerance: 0, plates }
  const { truth } = makeComponent('selenium-rectifier', rating, 7)
  return { part: new Component({ ...truth, values: { ...truth.values, ...over }, pins }, 7), asks: seleniumRectifier(line({ note: `${plates} plates`, ratedV: 25 * plates })) as Diode }
}
const proven = async ({ part, asks }: { part: Component; asks: ToProve }) => {
  const item = { id: 'D1', part: asks }
  const jig = new PhysicsJig(part, 3)
  const proof = await prove(jig, item)
  return { proof, verdict: judge(item, proof, []), jig }
}

describe('a selenium rectifier', () => {
  it.each([1, 2, 5, 8, 12])('of %i plates passes with its volts at two currents, and never gets more than 20 V', async plates => {
    const { verdict, jig, proof } = await proven(stack(plates))
    expect(verdict.grade, verdict.reason).toBe('accept')
    expect(proof.findings.filter(({ name }) => name === 'forward voltage')).toHaveLength(2)
    expect(jig.mostV).toBeLessThanOrEqual(Math.max(20, 2 * plates))
    expect(jig.mostA).toBeLessThanOrEqual(0.01)
  })

  it.each([2, 8, 12])('of %i plates that lies the other way round is found so, also where it hardly conducts below 4 V', async plates => {
    const { verdict, proof } = await proven(stack(plates, {}, ['cathode', 'anode']))
    expect([proof.fault?.is, verdict.grade]).toEqual(['reversed', 'accept'])
  })

  it('is replaced where age has raised its drop, where it leaks, and where it is open', async () => {
    expect((await proven(stack(5, { seriesOhm: 500 }))).verdict).toMatchObject({ grade: 'reject', disposition: 'replace', reason: expect.stringMatching(/^forward voltage/) })
    expect((await proven(stack(5, { leakA: 2e-3 }))).verdict).toMatchObject({ grade: 'reject', reason: expect.stringMatching(/^reverse current/) })
    const { part, asks } = stack(8)
    const broken = new Component({ ...part.truth, lead: { pin: 'anode', ohm: 1e12, spread: 0.1 } }, 7)
    expect((await proven({ part: broken, asks })).proof.fault?.is).toBe('open')
    expect((await proven({ part: makeComponent('resistor', { value: 3e3, tolerance: 0.01 }, 3), asks })).verdict.grade).not.toBe('accept')
  })

  it('comes with a caution about its fumes, sound or not, and silicon without one', async () => {
    for (const over of [{}, { seriesOhm: 500 }]) expect((await proven(stack(5, over))).verdict.notes.join()).toMatch(/poisonous fumes/)
    const bridge = makeComponent('selenium-bridge', usualRatings['selenium-bridge'], 3)
    expect((await proven({ part: bridge, asks: asked['selenium-bridge']! })).verdict.notes.join()).toMatch(/poisonous fumes/)
    expect((await proven({ part: makeComponent('diode', usualRatings.diode, 3), asks: asked.diode! })).verdict.notes.join()).not.toMatch(/selenium/)
  })

  it.each(['diode', 'zener', 'npn'] satisfies ComponentKind[])('of five plates is not found in a %s', async kind => {
    const { verdict } = await proven({ part: makeComponent(kind, usualRatings[kind], 3), asks: stack(5).asks })
    expect(verdict.grade).toBe('reject')
  })
})

describe('a selenium bridge', () => {
  it.each([1, 2, 4, armPlatesMost])('with %i plates in an arm has its legs found, whether two arms in line conduct or not', async plates => {
    const rating: Rating = { value: 25 * plates, tolerance: 0, plates }
    const { truth } = makeComponent('selenium-bridge', rating, 5)
    const part = new Component({ ...truth, pins: ['minus', 'ac', 'plus', 'other ac'] }, 5)
    const asks = seleniumBridge(line({ kind: 'bridge-rectifier', note: `${plates} plates an arm` })) as ToProve
    const { verdict, proof } = await proven({ part, asks })
    expect(verdict.grade, verdict.reason).toBe('accept')
    expect(verdict.notes.join()).toMatch(/plus 3, minus 1, alternating 2 and 4/)
    expect(proof.findings.filter(({ name }) => name === 'forward voltage')).toHaveLength(8)
    const broken = new Component({ ...part.truth, values: { ...part.truth.values, broken: 3 } }, 5)
    expect((await proven({ part: broken, asks })).proof.fault?.is).toBe('open')
  })
})

describe('what leaks', () => {
  it('is as unsure as the volts that it was read at, where it goes with them', () => {
    const read = (value: number, u: number) => ({ value, u, quality: 'good' as const, atMs: 0 })
    const { value, u } = leakedAt({ current: read(-1e-4, 1e-8), voltage: read(-19.98, 0.005), limited: false }, 20)
    expect([value, u]).toEqual([1e-4, expect.closeTo(1e-4 * Math.hypot(0.02, 0.005) / 20, 8)])
    expect(u).toBeGreaterThan(1e-7)
  })
  it('is at least what the limit of the source let through', () => {
    const read = (value: number, u: number) => ({ value, u, quality: 'good' as const, atMs: 0 })
    expect(leakedAt({ current: read(2e-5, 1e-8), voltage: read(3, 0.005), limited: true }, 20)).toEqual({ value: 2e-5, u: 1e-8 })
  })
})

describe('selenium in a list', () => {
  it('is read from words, and graded by plates that somebody counted', () => {
    expect(kindOfWords('selenium rectifier')).toMatchObject({ kind: 'diode', material: 'selenium', unknown: [] })
    expect(kindOfWords('selenium bridge rectifier')).toMatchObject({ kind: 'bridge-rectifier', material: 'selenium' })
    expect(itemsOf([line({})]).cannot).toMatchObject([{ why: expect.stringMatching(/how many plates/) }])
    expect(itemsOf([line({ kind: 'bridge-rectifier', note: '6 plates' })]).cannot).toMatchObject([{ why: expect.stringMatching(/below 4 V/) }])
    const [item] = itemsOf([line({ note: '10 plates', ratedV: 250 })]).items
    expect(item!.part).toMatchObject({ forward: [{ volt: { low: 3, high: 8 } }, { volt: { low: 3.5, high: 10 } }], reverse: { voltageV: 20 } })
  })

  it('is replaced whatever it measures where a policy says so, and silicon is not', () => {
    const policy = partsPolicy.parse({
      policy: 'house', rules: [{ name: 'selenium-goes', match: { material: 'selenium' }, action: 'replace', reason: 'it fails with poisonous fumes' }],
      otherwise: { action: 'prove', reason: 'every part is proven' },
    })
    const parts = [line({ note: '5 plates' }), line({ line: 3, designators: ['D2'], material: 'silicon' }), line({ line: 4, designators: ['D3'], material: null })]
    const text = JSON.stringify(decide(parts, policy))
    expect(text).toMatch(/selenium-goes/)
    expect(text).toMatch(/silicon, germanium or selenium/)
  })
})
