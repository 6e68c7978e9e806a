/** Field-effect transistors: legs found whichever way they lie, values against known truth, gates never in the air. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { Component } from '../../mocks/components/component.ts'
import { usualRatings, type ComponentKind } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import type { Force, Pair, Point, Terminal } from '../../src/schema/jig.ts'
import { lookAt, prove } from '../../src/screening/at-jig.ts'
import { judge } from '../../src/screening/grade.ts'
import { findGate, judgeGate, legs } from '../../src/screening/methods/field-pins.ts'
import type { Proof } from '../../src/screening/proof.ts'
import type { JunctionFet, Mosfet } from '../../src/screening/to-prove.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import { asked } from './asked.ts'
import { PhysicsJig } from './physics-jig.ts'

const kinds = ['n-jfet', 'p-jfet', 'n-mosfet', 'p-mosfet'] as const
type Fet = (typeof kinds)[number]
const orders = [['source', 'gate', 'drain'], ['source', 'drain', 'gate'], ['gate', 'source', 'drain'], ['gate', 'drain', 'source'],
  ['drain', 'gate', 'source'], ['drain', 'source', 'gate']]

/** Every lead of the jig that was on the part at once. */
class WatchedJig extends PhysicsJig {
  readonly loose: string[] = []
  readonly last: { gateV: number; terminal: Terminal }[] = []

  override async force(pair: Pair, force: Force): Promise<Point> {
    this.loose.push(`${pair.high} to ${pair.low} alone`)
    return super.force(pair, force)
  }

  override async drive(pair: Pair, force: Force, control: Terminal, controlForce: Force): Promise<{ main: Point; control: Point }> {
    if (new Set([pair.high, pair.low, control]).size < 3) this.loose.push('a leg in the air')
    if ('voltageV' in controlForce) this.last.push({ gateV: controlForce.voltageV, terminal: control })
    return super.drive(pair, force, control, controlForce)
  }
}

/** A part whose hidden values and legs the test writes over. */
function part(kind: ComponentKind, over: Record<string, number> = {}, pins?: readonly string[]): Component {
  const { truth } = makeComponent(kind, usualRatings[kind], 7)
  return new Component({ ...truth, values: { ...truth.values, ...over }, pins: pins ?? truth.pins }, 7)
}
const proven = (kind: Fet, jig: PhysicsJig): Promise<Proof> => prove(jig, { id: 'Q1', part: asked[kind]! })
const measured = ({ findings }: Proof, name: string) => findings.find(finding => finding.name === name)!.measured

describe.each(kinds)('a %s', kind => {
  it.each(orders)('has its gate and its channel found with legs %s, %s, %s, under 4 V and 1 mA', async (...pins) => {
    const jig = new WatchedJig(part(kind, {}, pins), 3)
    const found = await findGate(jig)
    expect(found).toMatchObject({ gate: pins.indexOf('gate') + 1, channel: kind[0], sort: kind.slice(2) })
    if (kind.endsWith('mosfet')) expect(found).toMatchObject({ drain: pins.indexOf('drain') + 1, source: pins.indexOf('source') + 1 })
    expect(jig.mostV).toBeLessThanOrEqual(4)
    expect(jig.mostA).toBeLessThanOrEqual(1e-3)
  })

  it('never has a leg in the air while anything is driven, in look and measurement, and is left without gate volts', async () => {
    for (const defect of [undefined, 'open', 'short', 'leaky', 'mislabelled'] as const) {
      const jig = new WatchedJig(makeComponent(kind, usualRatings[kind], 5, defect ? { defect } : {}), 5)
      await lookAt(jig, asked[kind]!, new VirtualClock())
      await proven(kind, jig)
      expect(jig.loose).toEqual([])
      expect(jig.last.length).toBeGreaterThan(3)
      if (kind.endsWith('mosfet')) expect(jig.last.at(-1)!.gateV).toBeCloseTo(0, 12)
    }
  })

  it('that is of the other channel is said to be so', async () => {
    const other = (kind.startsWith('n') ? kind.replace('n', 'p') : kind.replace('p', 'n')) as Fet
    const { fault } = await proven(kind, new PhysicsJig(part(other), 3))
    expect(fault).toMatchObject({ is: 'other kind', says: expect.stringMatching(/channel is [np], not [np]/) })
  })

  it.each(kinds.filter(one => one.slice(2) !== kind.slice(2)))('in place of which lies a %s is another kind', async other => {
    expect((await proven(kind, new PhysicsJig(part(other), 3))).fault?.is).toBe('other kind')
  })
})

describe('what is measured', () => {
  it('is the square law of a junction type: 10 mA at no gate volts, a quarter at 1.5 V, cut off at 3.0 V (reference check jfet)', async () => {
    for (const kind of ['n-jfet', 'p-jfet'] as const) {
      const wide: JunctionFet = { ...asked[kind] as JunctionFet, idssA: { low: 1e-3, high: 0.03, source: 'check' } }
      const jig = new PhysicsJig(part(kind, { saturatedA: 0.01, pinchV: 3, perV: 0 }), 3)
      const proof = await prove(jig, { id: 'Q1', part: wide })
      expect(Math.abs(measured(proof, 'drain current').value - 0.01)).toBeLessThan(4 * measured(proof, 'drain current').u + 1e-5)
      const cutoff = measured(proof, 'cut-off voltage')
      expect(Math.abs(cutoff.value - 3)).toBeLessThan(4 * cutoff.u)
      expect(cutoff.u).toBeLessThan(0.02)
    }
  })

  it('covers the truth of cut-off, threshold and slope with its uncertainty, for any sound part', async () => {
    const off = { cutoff: 0, threshold: 0, slope: 0 }
    const count = 200
    for (let seed = 1; seed <= count; seed++) {
      const far = (name: keyof typeof off, { value, u }: { value: number; u: number }, truth: number): void => {
        if (Math.abs(value - truth) > 2 * u) off[name]++
      }
      const jfet = makeComponent('n-jfet', usualRatings['n-jfet'], seed)
      far('cutoff', measured(await proven('n-jfet', new PhysicsJig(jfet, seed)), 'cut-off voltage'), jfet.truth.values.pinchV!)
      const made = makeComponent('p-mosfet', usualRatings['p-mosfet'], seed)
      // The output slope and the drain resistor are no part of the square law.
      const fet = new Component({ ...made.truth, values: { ...made.truth.values, perV: 0, onOhm: 0.01 } }, seed)
      const proof = await proven('p-mosfet', new PhysicsJig(fet, seed))
      const { thresholdV, ampsPerV2 } = fet.truth.values as { thresholdV: number; ampsPerV2: number }
      far('threshold', measured(proof, 'threshold voltage'), thresholdV + Math.sqrt(250e-6 / ampsPerV2))
      far('slope', measured(proof, 'transconductance'), 2 * Math.sqrt(ampsPerV2 * 0.01))
    }
    // Some 5 % lie outside two standard uncertainties; 24 of 200 would come by chance less than once in ten thousand.
    for (const [name, outside] of Object.entries(off)) expect(outside, name).toBeLessThan(24)
  })

  it('turns a high threshold on with the polarity of the list, and says what does not turn on', async () => {
    const high: Mosfet = { ...asked['n-mosfet'] as Mosfet, threshold: { currentA: 250e-6, volt: { low: 4.5, high: 6, source: 'check' } }, on: { gateV: 12, currentA: 0.02, ohm: { high: 20, source: 'check' } } }
    const jig = (kind: Fet) => new PhysicsJig(part(kind, { thresholdV: 5 }), 3)
    expect(judge({ id: 'Q1', part: high }, await prove(jig('n-mosfet'), { id: 'Q1', part: high }), []).grade).toBe('accept')
    const p = await prove(jig('p-mosfet'), { id: 'Q1', part: { ...high, channel: 'p' } })
    expect(p.fault).toBeNull()
    expect(p.notes.join()).toMatch(/gate 2, drain 3, source 1, channel p/)
    expect((await prove(jig('p-mosfet'), { id: 'Q1', part: high })).fault).toMatchObject({ is: 'open', says: expect.stringMatching(/other channel/) })
    expect((await prove(jig('n-mosfet'), { id: 'Q1', part: { ...high, channel: null } })).fault?.is).toBe('cannot tell')
  })
})

describe('six looks', () => {
  const six = (on: readonly [string, string, string]) => judgeGate(legs.flatMap((leg, i) => ([1, -1] as const).map(sign =>
    ({ leg, sign, on: on[i]!.includes(sign === 1 ? '+' : '-'), volts: 0.65 }))))
  it('of a gate with a protecting diode are not taken for another kind', () => {
    // n channel: gate and drain conduct towards the source, the source both ways, by its diodes and its threshold.
    expect(six(['-', '+-', '-'])).toMatchObject({ fault: 'cannot tell', says: expect.stringMatching(/legs 1 and 3.*towards leg 2.*protecting diode/) })
    expect(six(['', '+-', '-'])).toMatchObject({ sort: 'mosfet', gate: 1, source: 2, drain: 3, channel: 'n' })
    expect(six(['+', '+-', '+-'])).toMatchObject({ sort: 'jfet', gate: 1, channel: 'n' })
  })


  it('are one thing or a fault with a sentence, whatever they are', () => {
    const look = fc.record({ on: fc.boolean(), volts: fc.constantFrom(0.001, 0.3, 0.65, 2, 4) })
    fc.assert(fc.property(fc.array(look, { minLength: 6, maxLength: 6 }), six => {
      const found = judgeGate(six.map((one, i) => ({ ...one, leg: legs[i >> 1]!, sign: i % 2 === 0 ? 1 as const : -1 as const })))
      if ('fault' in found) expect(found.says.length).toBeGreaterThan(15)
      else expect([found.gate, found.drain, found.source].sort()).toEqual([1, 2, 3])
    }))
  })
})
