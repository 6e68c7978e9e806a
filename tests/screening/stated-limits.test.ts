/** Limits that a list states of transistors: measured at what they are stated at, judged by them, and refused where that cannot be. */
import { describe, expect, it } from 'vitest'
import { Component } from '../../mocks/components/component.ts'
import { usualRatings, type ComponentKind } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { wholeReach } from '../../benchmarks/physics-jig.ts'
import { readPartsText } from '../../src/cli/parts-file.ts'
import { prove } from '../../src/screening/at-jig.ts'
import { itemsOf } from '../../src/screening/from-list.ts'
import { judge, type Item, type Verdict } from '../../src/screening/grade.ts'
import { planScreening, usualBounds } from '../../src/screening/plan.ts'
import { PhysicsJig } from './physics-jig.ts'

const listed = (kind: string, note: string, rating = '') => {
  const { list, problems } = readPartsText('list.csv', `ref,kind,material,value,rating,note\nQ1,${kind},${kind.length === 3 ? 'silicon' : ''},x,${rating},"${note}"\n`)
  expect(problems).toEqual([])
  return itemsOf(list.parts)
}
const item = (kind: string, note: string, rating?: string): Item => {
  const { items, cannot } = listed(kind, note, rating)
  expect(cannot).toEqual([])
  return items[0]!
}
const plan = (kind: string, note: string, rating?: string) => {
  const { items, cannot } = listed(kind, note, rating)
  const planned = planScreening(items, wholeReach, { ...usualBounds, touchSafeV: 60 })
  return { ...planned, cannot: [...cannot, ...planned.cannot] }
}

function part(kind: ComponentKind, over: Record<string, number>, seed = 7): Component {
  const { truth } = makeComponent(kind, usualRatings[kind], seed)
  return new Component({ ...truth, values: { ...truth.values, ...over } }, seed)
}
async function verdictOn(component: Component, asked: Item, seed = 3): Promise<Verdict> {
  const jig = new PhysicsJig(component, seed)
  return judge(asked, await prove(jig, asked, {}, jig.guide), [])
}
const criterionOf = ({ criteria }: Verdict, name: string) => criteria.find(one => one.name === name)!

describe('the gain that a list states', () => {
  it.each([['npn', 'npn'], ['pnp', 'pnp'], ['npn', 'npn-germanium']] as const)('decides for %s, with its guard band: below, inside, on the edge, above', async (word, kind) => {
    const asked = item(kind === 'npn-germanium' ? 'germanium npn' : word, 'hFE 110-220 @ 2 mA, 5 V')
    const truth = { earlyV: 1e6 }
    const grades: string[] = []
    for (const gain of [90, 111, 160, 219, 260]) grades.push((await verdictOn(part(kind, { ...truth, gain }), asked)).grade)
    expect(grades.map((grade, i) => i === 1 || i === 3 ? grade !== 'reject' : grade)).toEqual(['reject', true, 'accept', true, 'reject'])
    const edge = await verdictOn(part(kind, { ...truth, gain: 110.02 }), asked)
    expect(edge.grade).toBe('marginal')
  })

  it('is measured at the stated current and volts, and the record says both', async () => {
    for (const [note, currentA, volts] of [['hFE >= 40 @ 100 µA', 1e-4, 5], ['hFE >= 40 @ 20 mA, 3 V', 0.02, 3], ['hFE >= 40 @ 10 V', 1e-3, 10], ['hFE >= 40 @ 10 µA', 1e-5, 5]] as const) {
      const asked = item('npn', note)
      const component = part('npn', { gain: 250 })
      const jig = new PhysicsJig(component, 3)
      const proof = await prove(jig, asked)
      const verdict = judge(asked, proof, [])
      expect(verdict.grade, `${note}: ${verdict.reason}`).toBe('accept')
      expect(Math.abs(verdict.figures['collectorA']! / currentA - 1), note).toBeLessThanOrEqual(0.1)
      expect(jig.mostV, note).toBeLessThanOrEqual(Math.max(4, volts))
      expect(criterionOf(verdict, 'gain').source, note).toMatch(/^parts list: gain at least 40, at \S+ [µm]A and \S+ V$/)
    }
    expect(criterionOf(await verdictOn(part('npn', { gain: 250 }), item('npn', 'hFE 110-500')), 'gain')).toMatchObject({
      limitLow: 110, limitHigh: 500, source: 'parts list: gain 110 to 500, at 1.00 mA and 5.00 V',
    })
  })

  it('rejects what the usual limit would have let pass', async () => {
    const weak = part('npn', { gain: 45 })
    expect((await verdictOn(weak, item('npn', ''))).grade).toBe('accept')
    expect((await verdictOn(weak, item('npn', 'hFE >= 110'))).grade).toBe('reject')
    // One side is stated; the other stays what is usual.
    expect(criterionOf(await verdictOn(part('npn', { gain: 15 }), item('npn', 'hFE <= 800')), 'gain')).toMatchObject({ limitLow: 20, limitHigh: 800, grade: 'reject' })
  })

  it('changes nothing where it is not stated', () => {
    expect(item('npn', 'first stage').part).toMatchObject({
      collectorA: 1e-3, collectorV: 5, gain: { low: 20, source: 'no gain in the list: at least 20, common practice' }, baseV: { low: 0.5, high: 0.75, source: 'silicon, common practice' },
    })
  })

  it('is refused where the jig does not reach it, or the part would not bear it', () => {
    expect(plan('npn', 'hFE >= 40 @ 50 mA, 5 V').cannot[0]).toMatchObject({ why: expect.stringMatching(/150 mA.*100 mA/) as string })
    expect(plan('npn', 'hFE >= 40 @ 2 mA, 40 V').cannot[0]).toMatchObject({ why: expect.stringMatching(/40.0 V.*30.0 V/) as string })
    expect(plan('npn', 'hFE >= 40 @ 2 mA, 10 V', '6 V').cannot[0]).toMatchObject({ why: 'the list asks for 10.0 V, and rates it for 6.00 V' })
    expect(plan('npn', 'hFE >= 40 @ 100 mA, 25 V').cannot[0]).toMatchObject({ why: expect.stringMatching(/100 mA at 25.0 V heat it with 2.50 W/) as string })
    expect(plan('npn', 'hFE >= 40 @ 20 mA, 5 V')).toMatchObject({ cannot: [], mostA: 0.06, groups: [{ setUp: { measures: 'two sources, 20.0 mA and 5.00 V' } }] })
  })
})

describe('what a list states of field-effect transistors', () => {
  it('decides for the drain current and the cut-off volts of a JFET', async () => {
    const asked = item('n-channel jfet', 'IDSS 2-6 mA, VGS(off) -1..-4 V')
    const grades: string[] = []
    for (const [saturatedA, pinchV] of [[1.5e-3, 2.5], [4e-3, 2.5], [7e-3, 2.5], [4e-3, 0.8], [4e-3, 4.6]] as const) {
      grades.push((await verdictOn(part('n-jfet', { saturatedA, pinchV, perV: 1e-6 }), asked)).grade)
    }
    expect(grades).toEqual(['reject', 'accept', 'reject', 'reject', 'reject'])
    const verdict = await verdictOn(part('n-jfet', { saturatedA: 4e-3, pinchV: 2.5, perV: 1e-6 }), asked)
    expect(criterionOf(verdict, 'drain current').source).toBe('parts list: drain current 2.00 mA to 6.00 mA, at 10.0 V')
    expect(criterionOf(verdict, 'cut-off voltage').source).toBe('parts list: cut-off voltage 1.00 V to 4.00 V, by the square law')
  })

  it('reads the drain current at its volts, and reckons the cut-off volts to their current', async () => {
    const component = part('n-jfet', { saturatedA: 4e-3, pinchV: 2, perV: 0.02 })
    const drawn = async (note: string): Promise<number> => criterionOf(await verdictOn(component, item('n-channel jfet', note)), 'drain current').value
    // The channel grows by 2 % a volt.
    expect(await drawn('IDSS 2-8 mA @ 15 V') / await drawn('IDSS 2-8 mA @ 5 V')).toBeCloseTo(1.3 / 1.1, 2)
    const plain = part('n-jfet', { saturatedA: 4e-3, pinchV: 2, perV: 1e-6 })
    const cutoff = async (note: string): Promise<number> => criterionOf(await verdictOn(plain, item('n-channel jfet', note)), 'cut-off voltage').value
    expect(await cutoff('VP 1-4 V @ 40 µA')).toBeCloseTo(2 * (1 - Math.sqrt(0.01)), 1)
    expect(await cutoff('VP 1-4 V')).toBeCloseTo(2, 1)
    expect(await cutoff('VP 1-4 V') - await cutoff('VP 1-4 V @ 40 µA')).toBeCloseTo(0.2, 2)
  })

  it('decides for the threshold of a MOSFET, at its current', async () => {
    const at = async (note: string, thresholdV: number): Promise<Verdict> =>
      await verdictOn(part('n-mosfet', { thresholdV, ampsPerV2: 0.1 }), item('n-channel mosfet', note))
    expect((await at('Vth 2-3 V', 1.6)).grade).toBe('reject')
    expect((await at('Vth 2-3 V', 2.4)).grade).toBe('accept')
    expect((await at('Vth 2-3 V', 3.2)).grade).toBe('reject')
    const [low, high] = [await at('Vth 1-3 V @ 250 µA', 2), await at('Vth 1-3 V @ 25 mA', 2)].map(one => criterionOf(one, 'threshold voltage').value) as [number, number]
    expect(high - low).toBeCloseTo(Math.sqrt(0.25) - Math.sqrt(0.0025), 1)
  })

  it('decides for a MOSFET that conducts without gate volts', async () => {
    const at = async (note: string, thresholdV: number): Promise<Verdict> =>
      await verdictOn(part('n-depletion-mosfet', { thresholdV, ampsPerV2: 2e-3, perV: 1e-6 }), item('n-channel depletion mosfet', note))
    expect((await at('VGS(off) -1.5..-3 V', -2)).grade).toBe('accept')
    expect((await at('VGS(off) -1.5..-3 V', -1.2)).grade).toBe('reject')
    expect((await at('IDSS 5-10 mA', -2)).grade).toBe('accept')
    expect((await at('IDSS 10-20 mA', -2)).grade).toBe('reject')
  })

  it('is refused where the jig does not reach it', () => {
    expect(plan('n-channel jfet', 'IDSS 50-80 mA').cannot[0]).toMatchObject({ why: expect.stringMatching(/120 mA.*100 mA/) as string })
    expect(plan('n-channel jfet', 'IDSS >= 80 mA').cannot[0]).toMatchObject({ why: expect.stringMatching(/120 mA.*100 mA/) as string })
    expect(plan('n-channel mosfet', 'Vth 6-12 V').cannot[0]).toMatchObject({ why: 'its gate may want 12.0 V, and gets 10.0 V' })
    expect(plan('n-channel mosfet', 'Vth 2-4 V @ 200 mA').cannot[0]).toMatchObject({ why: expect.stringMatching(/200 mA.*100 mA/) as string })
    expect(plan('n-channel depletion mosfet', 'IDSS 60-90 mA').cannot[0]).toMatchObject({ why: expect.stringMatching(/135 mA.*100 mA/) as string })
    expect(plan('n-channel jfet', 'IDSS 2-6 mA @ 15 V', '12 V').cannot[0]).toMatchObject({ why: 'the list asks for 15.0 V, and rates it for 12.0 V' })
  })
})
