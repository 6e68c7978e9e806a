/** Transformers: windings, ratio, phase, copper and leakage against known truth; by relays and by a clip. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { Component } from '../../mocks/components/component.ts'
import { usualRatings, type ComponentKind } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import type { PartsLine } from '../../src/schema/parts-list.ts'
import type { Measured } from '../../src/schema/reading.ts'
import { prove } from '../../src/screening/at-jig.ts'
import { transformer as fromList } from '../../src/screening/from-list-transformer.ts'
import { judge } from '../../src/screening/grade.ts'
import type { Guide } from '../../src/screening/methods/guide.ts'
import { coreOf } from '../../src/screening/methods/winding-core.ts'
import { judgeWindings, sixPairs } from '../../src/screening/methods/windings.ts'
import type { Transformer } from '../../src/screening/to-prove.ts'
import { asked } from './asked.ts'
import { PhysicsJig, wholeReach } from './physics-jig.ts'

const part = asked.transformer as Transformer
const item = { id: 'T1', part }
const made = (values: Record<string, number> = {}, pins?: readonly string[]): Component => {
  const { truth } = makeComponent('transformer', usualRatings.transformer, 7)
  return new Component({ ...truth, values: { ...truth.values, ...values }, pins: pins ?? truth.pins }, 7)
}
class HandJig extends PhysicsJig { override readonly reach = { ...wholeReach, joint: false } }

describe('a transformer', () => {
  it('gives ratio, inductance, coupling, leakage and copper as they are, with uncertainties that hold', async () => {
    const outside: Record<string, number> = { ratio: 0, magnetisingH: 0, highOhm: 0 }
    for (let seed = 1; seed <= 150; seed++) {
      const { truth } = makeComponent('transformer', usualRatings.transformer, seed)
      const { henry, ratio, ohm, coupling } = truth.values as Record<string, number>
      const { findings, figures } = await prove(new PhysicsJig(new Component(truth, seed), seed), item)
      const far = (name: string, finding: string, want: number): void => {
        const { value, u } = findings.find(one => one.name === finding)!.measured
        if (Math.abs(value - want) > 2 * u) outside[name]!++
      }
      far('magnetisingH', 'inductance', henry!)
      // Copper of the simulation by its own figure: 0.393 % a kelvin, from 25 to 20 °C.
      far('highOhm', 'winding resistance', ohm! * (1 - 5 * 0.00393))
      far('ratio', 'turns ratio', ratio!)
      expect(Math.abs(figures.leakageH! / henry! / (1 - coupling! ** 2) - 1)).toBeLessThan(0.05)
      expect(Math.abs(figures.couplingFactor! - coupling!)).toBeLessThan(0.02)
    }
    // Some 5 % lie outside two standard uncertainties; 20 of 150 would come by chance less than once in ten thousand.
    for (const [name, count] of Object.entries(outside)) expect(count, name).toBeLessThan(20)
  })

  it('brings its resistance to 20 °C: 15.079764 Ω at 75 °C is 12.40 Ω (reference check r75, copper 234.5)', async () => {
    class WarmJig extends PhysicsJig { override celsius(): Promise<Measured> { return Promise.resolve({ value: 75, u: 0.1, quality: 'good', atMs: 0 }) } }
    const { figures } = await prove(new WarmJig(made({ ohm: 15.079764 }), 3), item)
    expect(figures.highOhm20C).toBeCloseTo(12.4, 1)
    class BareJig extends PhysicsJig { override celsius(): Promise<Measured> { return Promise.resolve(null as never) } }
    const bare = await prove(new BareJig(made(), 3), item)
    expect(bare.notes.join()).toMatch(/assumed 25 °C/)
    const copper = bare.findings.find(({ name }) => name === 'winding resistance')!.measured
    expect(copper.u / copper.value).toBeGreaterThan(0.02)
  })

  const layouts: [string[], string, boolean][] = [
    [['primary', 'primary end', 'secondary', 'secondary end'], 'legs 1 and 3', false],
    [['primary end', 'primary', 'secondary end', 'secondary'], 'legs 1 and 3', false],
    [['primary', 'primary end', 'secondary end', 'secondary'], 'legs 1 and 4', true],
    [['secondary', 'secondary end', 'primary', 'primary end'], 'legs 3 and 1', false],
    [['primary', 'secondary', 'primary end', 'secondary end'], 'legs 1 and 2', false],
    [['secondary end', 'primary', 'primary end', 'secondary'], 'legs 2 and 4', false],
  ]
  it.each(layouts)('lying as %j has %s in phase', async (pins, phase, isTurned) => {
    const proof = await prove(new PhysicsJig(made({}, pins), 3), item)
    expect(proof.notes.join()).toContain(phase)
    expect(proof.fault?.is ?? null).toBe(isTurned ? 'reversed' : null)
    expect(judge(item, proof, []).grade).toBe('accept')
  })

  it('is joined by a person with a clip where no relays do it, and nothing is asked twice of somebody who does not come', async () => {
    const jig = new HandJig(made({}, ['primary', 'primary end', 'secondary end', 'secondary']), 3)
    const heard: string[] = []
    const proof = await prove(jig, item, {}, { say: text => { heard.push(text); jig.guide.say(text) }, goesOn: () => {} })
    expect(proof.fault?.is).toBe('reversed')
    expect(proof.figures.leakageH).toBeGreaterThan(0)
    expect(heard).toEqual([
      'join legs 2 and 3 with a clip', 'take the clip off', 'join legs 2 and 4 with a clip', 'take the clip off',
      'join legs 3 and 4 with a clip', 'take the clip off',
    ])
    const lazy: string[] = []
    const alone: Guide = { say: text => lazy.push(text), goesOn: () => {} }
    const without = await prove(new HandJig(made(), 3), item, {}, alone)
    expect([judge(item, without, []).grade, lazy.length]).toEqual(['accept', 2])
    expect(without.notes.join()).toMatch(/in phase was not found; |in phase was not found,/)
  })

  it('whose clip was left on is told nothing more from it', async () => {
    const jig = new HandJig(made(), 3)
    const proof = await prove(jig, item, {}, { say: text => { if (text.startsWith('join')) jig.guide.say(text) }, goesOn: () => {} })
    expect(proof.notes.join()).toMatch(/its leakage inductance was not measured/)
  })

  it('of one to one and close coupling has a phase too', async () => {
    const even: Transformer = { ...part, ratio: { nominal: 1, low: 0.97, high: 1.03, source: 'check' } }
    const proof = await prove(new PhysicsJig(made({ ratio: 1, secondOhm: 50, coupling: 0.9999, lossOhm: 1e6 }), 3), { id: 'T2', part: even })
    expect(proof.notes.join()).toMatch(/are in phase/)
    expect(proof.figures.couplingFactor).toBeCloseTo(1, 2)
  })

  it('never gets more than 20 V, and through its windings none but what meters use', async () => {
    const jig = new PhysicsJig(made(), 3)
    await prove(jig, item)
    expect([jig.mostV, jig.mostA]).toEqual([20, 1e-3])
  })

  it.each(['resistor', 'npn', 'bridge-rectifier', 'potentiometer', 'n-mosfet'] satisfies ComponentKind[])('is not found in a %s', async kind => {
    const { fault } = await prove(new PhysicsJig(makeComponent(kind, usualRatings[kind], 3), 3), item)
    expect(fault?.is).toMatch(/open|other kind/)
  })
})

describe('a core on the bridge', () => {
  const good = (value: number): Measured => ({ value, u: 1e-9, quality: 'good', atMs: 0 })
  it('is the inductance and loss that stand beside each other, whatever the winding adds', () => {
    const pos = fc.double({ min: 0.01, max: 1e3, noNaN: true })
    fc.assert(fc.property(pos, pos, pos, (henry, lossPer, ohm) => {
      const x = 2 * Math.PI * 120 * henry
      const loss = x * lossPer
      const size = loss ** 2 + x ** 2
      const core = coreOf({ rOhm: good(ohm + loss * x ** 2 / size), xOhm: good(loss ** 2 * x / size), frequencyHz: 120, levelV: 1 }, { value: ohm, u: 1e-9 })
      if ('says' in core) throw new Error(core.says)
      expect(core.henry.value / henry).toBeCloseTo(1, 5)
      expect(core.quality.value / lossPer).toBeCloseTo(1, 3)
    }))
  })
})

describe('pairs that conduct', () => {
  it('are two windings only where two conduct that have no leg in common', () => {
    fc.assert(fc.property(fc.subarray([...sixPairs]), through => {
      const found = judgeWindings(through)
      const legs = new Set(through.flatMap(({ high, low }) => [high, low]))
      expect('fault' in found).toBe(!(through.length === 2 && legs.size === 4))
    }))
    expect(judgeWindings([{ high: 1, low: 3 }])).toEqual({ fault: 'open', says: 'the winding between legs 2 and 4 is open' })
  })
})

describe('a transformer of a list', () => {
  const listed = (valueText: string, note = '', over: Partial<PartsLine> = {}) =>
    fromList({ valueText, note, value: null, toleranceMinus: null, tolerancePlus: null, ...over } as PartsLine)
  it('has the ratio of turns that is written, whichever side is greater, and none that is not', () => {
    expect(listed('microphone 1:10')).toMatchObject({ ratio: { nominal: 10, low: 9.7, high: 10.3 } })
    expect(listed('output', '31.5 : 1', { toleranceMinus: 0.1, tolerancePlus: 0.1 })).toMatchObject({ ratio: { nominal: 31.5, low: expect.closeTo(28.35, 6) } })
    for (const text of ['mains', '230/12', '0:3']) expect(listed(text)).toMatchObject({ why: 'the list gives no ratio of turns' })
  })
  it('carries on what is recorded of its insulation, and drives nothing of it', async () => {
    const one = listed('10:1', 'driver; insulation 500 V tested by I. Holm 2026-03-01')
    expect(one).toMatchObject({ recorded: 'insulation 500 V tested by I. Holm 2026-03-01' })
    const { notes } = await prove(new PhysicsJig(made(), 3), { id: 'T1', part: one as Transformer })
    expect(notes.join()).toMatch(/records: insulation 500 V tested by I. Holm 2026-03-01; nothing of that was driven/)
    expect((await prove(new PhysicsJig(made(), 3), item)).notes.join()).toMatch(/qualified person/)
  })
})
