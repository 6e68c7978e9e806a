/** Transistors with an insulated gate that conduct without gate volts: told from all that look like them, and measured. */
import { describe, expect, it } from 'vitest'
import { Component } from '../../mocks/components/component.ts'
import { usualRatings, type ComponentKind, type Defect } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { kindOfWords } from '../../src/parts/kinds.ts'
import type { Force, Pair, Point, Terminal } from '../../src/schema/jig.ts'
import { prove } from '../../src/screening/at-jig.ts'
import { judge } from '../../src/screening/grade.ts'
import { findGate } from '../../src/screening/methods/field-pins.ts'
import type { DepletionFet, ToProve } from '../../src/screening/to-prove.ts'
import { asked } from './asked.ts'
import { PhysicsJig } from './physics-jig.ts'

const kinds = ['n-depletion-mosfet', 'p-depletion-mosfet'] as const
type Kind = (typeof kinds)[number]
const orders = [['source', 'gate', 'drain'], ['source', 'drain', 'gate'], ['gate', 'source', 'drain'], ['gate', 'drain', 'source'],
  ['drain', 'gate', 'source'], ['drain', 'source', 'gate']]
const made = (kind: ComponentKind, over: Record<string, number> = {}, pins?: readonly string[]): Component => {
  const { truth } = makeComponent(kind, usualRatings[kind], 7)
  return new Component({ ...truth, values: { ...truth.values, ...over }, pins: pins ?? truth.pins }, 7)
}
const spoilt = (kind: ComponentKind, defect: Defect, seed = 5): Component => makeComponent(kind, usualRatings[kind], seed, { defect })
const proven = (part: Component, kind: Kind, over: Partial<DepletionFet> = {}) =>
  prove(new PhysicsJig(part, 3), { id: 'Q1', part: { ...asked[kind]!, ...over } as ToProve })

/** What was led to the part, and whether a leg hung in the air meanwhile. */
class WatchedJig extends PhysicsJig {
  readonly loose: string[] = []
  mostMainA = 0
  lastGateV: number | null = null
  override async force(pair: Pair, force: Force): Promise<Point> {
    this.loose.push('one source alone')
    return super.force(pair, force)
  }
  override async drive(pair: Pair, force: Force, control: Terminal, controlForce: Force): Promise<{ main: Point; control: Point }> {
    if (new Set([pair.high, pair.low, control]).size < 3) this.loose.push('a leg in the air')
    if ('voltageV' in controlForce) this.lastGateV = controlForce.voltageV
    return super.drive(pair, force, control, controlForce)
  }
}

describe.each(kinds)('a %s', kind => {
  it.each(orders)('has its legs found in the order %s, %s, %s: gate and channel under 4 V and 1 mA', async (...pins) => {
    const jig = new WatchedJig(made(kind, {}, pins), 3)
    expect(await findGate(jig)).toMatchObject({ sort: 'depletion', gate: pins.indexOf('gate') + 1, channel: kind[0] })
    expect([jig.mostV <= 4, jig.mostA <= 1e-3]).toEqual([true, true])
    const proof = await prove(jig, { id: 'Q1', part: asked[kind]! })
    expect(proof.notes.join()).toContain(`drain ${pins.indexOf('drain') + 1}, source ${pins.indexOf('source') + 1}, channel ${kind[0]}`)
    expect([jig.loose, jig.mostV <= 20]).toEqual([[], true])
    expect(jig.lastGateV).toBeCloseTo(0, 12)
  })

  it('has cut-off and current as they are, with uncertainties that hold', async () => {
    const outside = { cutoff: 0, slope: 0 }
    for (let seed = 1; seed <= 120; seed++) {
      const { truth } = makeComponent(kind, usualRatings[kind], seed)
      const part = new Component({ ...truth, values: { ...truth.values, perV: 0, onOhm: 0.01 } }, seed)
      const { findings, fault } = await prove(new PhysicsJig(part, seed), { id: 'Q1', part: asked[kind]! })
      expect(fault).toBeNull()
      const { thresholdV, ampsPerV2 } = truth.values as { thresholdV: number; ampsPerV2: number }
      const of = (name: string) => findings.find(finding => finding.name === name)!.measured
      if (Math.abs(of('cut-off voltage').value - (-thresholdV - Math.sqrt(1e-5 / ampsPerV2))) > 2 * of('cut-off voltage').u) outside.cutoff++
      if (Math.abs(of('transconductance').value - 2 * Math.sqrt(ampsPerV2 * 1e-3)) > 2 * of('transconductance').u) outside.slope++
      expect(of('drain current').value / (ampsPerV2 * thresholdV ** 2)).toBeCloseTo(1, 1)
    }
    // Some 5 % lie outside two standard uncertainties; 17 of 120 come by chance less than once in ten thousand.
    expect(outside.cutoff).toBeLessThan(17)
    expect(outside.slope).toBeLessThan(17)
  })

  it('is not what a shorted, an open or an enhancement one is, and each is said to be what it is', async () => {
    const enhancement = kind.startsWith('n') ? 'n-mosfet' : 'p-mosfet'
    expect((await proven(made(enhancement), kind)).fault).toMatchObject({ is: 'other kind', says: expect.stringMatching(/does not conduct without gate volts/) })
    const back = await prove(new PhysicsJig(made(kind), 3), { id: 'Q1', part: asked[enhancement]! })
    expect(back.fault).toMatchObject({ is: 'other kind', says: expect.stringMatching(/conducts without gate volts/) })
    expect((await proven(made(kind.startsWith('n') ? 'n-jfet' : 'p-jfet'), kind)).fault).toMatchObject({ is: 'other kind', says: expect.stringMatching(/is a junction/) })
    const { truth } = makeComponent(enhancement, usualRatings[enhancement], 7)
    const shorted = new Component({ ...truth, bridge: { pins: ['drain', 'source'], ohm: 1 } }, 7)
    expect((await proven(shorted, kind)).fault).toEqual({ is: 'short', says: 'legs 1 and 3 are shorted' })
    const gateless = new Component({ ...made(kind, { ampsPerV2: 1e-3 }).truth, lead: { pin: 'gate', ohm: 1e16, spread: 0.1 } }, 7)
    expect((await proven(gateless, kind)).fault).toMatchObject({ is: 'open', says: expect.stringMatching(/leg 2 changes nothing: its gate is open/) })
  })

  it('of the other channel is said to be so, and where the list says none it is found', async () => {
    const other = kinds.find(one => one !== kind)!
    expect((await proven(made(other), kind)).fault).toMatchObject({ is: 'other kind', says: expect.stringMatching(/channel is [np], not [np]/) })
    expect((await proven(made(other), kind, { channel: null })).notes.join()).toContain(`channel ${other[0]}`)
  })
})

describe('what is wrong with one', () => {
  it('shows: leaks between drain and source, little slope, a moving contact, no current', async () => {
    const verdict = async (part: Component) => judge({ id: 'Q1', part: asked['n-depletion-mosfet']! }, await proven(part, 'n-depletion-mosfet'), [])
    for (let seed = 1; seed <= 20; seed++) expect((await verdict(spoilt('n-depletion-mosfet', 'leaky', seed))).grade).toBe('reject')
    expect((await verdict(spoilt('n-depletion-mosfet', 'low-gain'))).grade).toBe('reject')
    const contact = new Component({ ...made('n-depletion-mosfet').truth, lead: { pin: 'source', ohm: 60, spread: 0.5 } }, 7)
    expect((await verdict(contact)).reason).toMatch(/poor contact/)
  })
  it('does not count what the source cannot carry: it has at least so much', async () => {
    const big = made('n-depletion-mosfet', { ampsPerV2: 0.2, onOhm: 0.5 })
    const proof = await proven(big, 'n-depletion-mosfet', { slope: { currentA: 1e-3, siemens: { low: 1e-3, source: 'check' } } })
    expect([proof.fault, proof.notes.join().includes('at least so much')]).toEqual([null, true])
    expect(proof.findings.find(({ name }) => name === 'drain current')!.measured.value).toBeCloseTo(0.1, 3)
  })
})

describe('the current without gate volts', () => {
  it('is that at none, where the source of the gate gives 30 mV too much', async () => {
    class Offset extends PhysicsJig {
      override drive(pair: Pair, force: Force, control: Terminal, controlForce: Force): Promise<{ main: Point; control: Point }> {
        return super.drive(pair, force, control, 'voltageV' in controlForce ? { ...controlForce, voltageV: controlForce.voltageV + 0.03 } : controlForce)
      }
    }
    const part = made('n-depletion-mosfet', { ampsPerV2: 4e-3, thresholdV: -2, perV: 0, onOhm: 0.01 })
    const { findings } = await prove(new Offset(part, 3), { id: 'Q1', part: asked['n-depletion-mosfet']! })
    const { value, u } = findings.find(({ name }) => name === 'drain current')!.measured
    expect(Math.abs(value - 0.016)).toBeLessThan(3 * u)
    expect(u).toBeLessThan(2e-5)
  })
})

describe('words for them', () => {
  it.each([['n-channel depletion mosfet', 'mosfet-n-depletion'], ['p-channel depletion', 'mosfet-p-depletion'], ['n-channel enhancement mosfet', 'mosfet-n'],
    ['n-channel depletion jfet', 'jfet-n']])('%s is a %s', (text, kind) => expect(kindOfWords(text)).toMatchObject({ kind, unknown: [] }))
})
