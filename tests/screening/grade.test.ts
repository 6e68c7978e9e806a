/** What a proof comes to: grade, disposition, and whether another part may lie in the jig. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { residualsOf } from '../../src/screening/residuals.ts'
import { judge, type Item } from '../../src/screening/grade.ts'
import { judgeLooks } from '../../src/screening/methods/pin-out.ts'
import { proveCapacitor } from '../../src/screening/methods/capacitor.ts'
import type { Jig } from '../../src/schema/jig.ts'
import { faulty, found, type Finding, type Proof } from '../../src/screening/proof.ts'
import { valueLimit, type Capacitor, type Resistor, type Value } from '../../src/screening/to-prove.ts'

const value = (nominal: number, share = 0.05): Value => ({ nominal, minus: share, plus: share, source: 'marked' })
const resistor = (id: string, ohm: number): Item => ({ id, part: { kind: 'resistor', ohm: value(ohm), ratedW: 0.25 } })
const read = (item: Item, ohm: number, u: number): Finding => ({
  name: 'resistance', measured: { value: ohm, u }, unit: 'Ω', limit: valueLimit((item.part as Resistor).ohm), conditions: '2 wires',
})

describe('a graded part', () => {
  const r1 = resistor('R1', 100)
  it('is used when it is within its limits with its uncertainty', () => {
    const verdict = judge(r1, found([read(r1, 101, 0.05)]), [])
    expect(verdict).toMatchObject({ grade: 'accept', disposition: 'use', strange: false, says: 'R1: resistance 101 Ω, good' })
  })
  it('is measured again where its limit lies within the guard band, and replaced beyond it', () => {
    expect(judge(r1, found([read(r1, 104.95, 0.1)]), [])).toMatchObject({ grade: 'marginal', disposition: 'retest' })
    expect(judge(r1, found([read(r1, 106, 0.1)]), [])).toMatchObject({ grade: 'reject', disposition: 'replace', strange: false })
  })
  it('asks whether another part lies in the jig where the value is far off, and names the likeliest', () => {
    const verdict = judge(r1, found([read(r1, 218, 0.1)]), [resistor('R2', 470), resistor('R3', 220), resistor('R4', 210)])
    expect(verdict).toMatchObject({ grade: 'reject', strange: true, looksLike: 'R3' })
  })
  it('says when its tolerance is too near the uncertainty for a grade to mean much', () => {
    expect(judge(r1, found([read(r1, 100, 0.8)]), []).notes.join()).toMatch(/3\.2 times the uncertainty/)
    expect(judge(r1, found([read(r1, 100, 0.5)]), []).notes).toEqual([])
  })
  it('is told with what its word holds for, and how it lies', () => {
    const leakage = { ratedV: 40, afterS: 60, ampere: { high: 1e-4, source: 'list' } }
    const can: Item = { id: 'C9', part: { kind: 'capacitor', dielectric: 'electrolytic', farad: value(470e-6, 0.2), dissipation: null, leakage } }
    const farad: Finding = { name: 'capacitance', measured: { value: 480e-6, u: 1e-6 }, unit: 'F', limit: { low: 376e-6, high: 564e-6, source: 'list' }, conditions: '' }
    expect(judge(can, found([farad], { leakageV: 19.99 }), []).says).toBe('C9: capacitance 480 µF, good; to 20.0 V of 40.0 V')
    expect(judge(can, found([farad], { leakageV: 39.98 }), []).says).toBe('C9: capacitance 480 µF, good')
    const reversed = { ...found([farad], { leakageV: 20 }), fault: { is: 'reversed' as const, says: 'it lies in the jig the other way round' } }
    expect(judge(can, reversed, []).says).toBe('C9: capacitance 480 µF, good; to 20.0 V of 40.0 V; it lies in the jig the other way round')
  })
  it('asks for another zener where the volts are far off', () => {
    const zener = (id: string, volts: number): Item => ({ id, part: {
      kind: 'diode', forward: [], reverse: null, zener: { currentA: 5e-3, volt: { low: 0.95 * volts, high: 1.05 * volts, source: 'list' }, slopeOhm: null },
    } })
    const proof = (volts: number): Proof => found([
      { name: 'forward voltage', measured: { value: 0.7, u: 1e-3 }, unit: 'V', limit: { high: 1, source: 'list' }, conditions: '' },
      { name: 'zener voltage', measured: { value: volts, u: 1e-3 }, unit: 'V', limit: { low: 4.845, high: 5.355, source: 'list' }, conditions: '' },
    ])
    expect(judge(zener('D5', 5.1), proof(12), [zener('D6', 12)])).toMatchObject({ grade: 'reject', strange: true, looksLike: 'D6' })
    expect(judge(zener('D5', 5.1), proof(5.1), [zener('D6', 12)])).toMatchObject({ strange: false, says: 'D5: zener voltage 5.10 V, good' })
  })
  it('says where the source and not the part decided what was read', () => {
    const leakage: Finding = { name: 'reverse current', measured: { value: 2e-5, u: 1e-8 }, unit: 'A', limit: { high: 1e-6, source: 'list' }, conditions: '', atLeast: true }
    const verdict = judge(r1, found([leakage]), [])
    expect(verdict).toMatchObject({ grade: 'reject', says: 'R1: reverse current at least 20.0 µA, bad' })
    expect(verdict.notes).toContain('reverse current is what was read or more: the source gave no more')
    expect(judge(r1, found([{ ...leakage, atLeast: false }]), []).notes).toEqual([])
  })
  it('is told by its gain where it is a transistor', () => {
    const as = (name: Finding['name'], measured: number, unit: string): Finding => ({ name, measured: { value: measured, u: measured / 1000 }, unit, limit: { low: measured / 2, source: 'list' }, conditions: '' })
    expect(judge(r1, found([as('collector leakage', 7e-8, 'A'), as('gain', 123, '1')]), []).says).toBe('R1: gain 123, good')
  })
  it('has no grade where nothing could be told, and is never accepted on nothing', () => {
    expect(judge(r1, faulty('poor contact', 'it moved'), [])).toMatchObject({ grade: 'cannot tell', disposition: 'retest' })
    expect(judge(r1, found([]), [])).toMatchObject({ grade: 'cannot tell', disposition: 'retest' })
    expect(judge(r1, faulty('short', 'a short'), [])).toMatchObject({ grade: 'reject', strange: true })
  })
  const loss = (value: number, u: number, isUsual: boolean): Finding => ({
    name: 'dissipation', measured: { value, u }, unit: '1', limit: { high: 0.001, source: 'mica', isUsual }, conditions: '1 kHz',
  })
  it('is graded without a usual limit that the bench is too coarse for, and says so; not without one that the list has', () => {
    const usual = judge(r1, found([read(r1, 100, 0.05), loss(0.0004, 0.0005, true)]), [])
    expect(usual).toMatchObject({ grade: 'accept', criteria: [{ name: 'resistance' }] })
    expect(usual.notes.join()).toMatch(/dissipation .*not graded, this bench is too coarse/)
    expect(judge(r1, found([read(r1, 100, 0.05), loss(0.0004, 0.0005, false)]), []).grade).toBe('cannot tell')
    expect(judge(r1, found([loss(0.0004, 0.0005, true)]), []).grade).toBe('cannot tell')
  })
  it('is rejected by a usual limit that it is far beyond, however coarse the bench is', () => {
    expect(judge(r1, found([read(r1, 100, 0.05), loss(0.01, 0.0005, true)]), []).grade).toBe('reject')
  })
  it('says of an accepted capacitor that its leakage was not measured', async () => {
    const part: Capacitor = { kind: 'capacitor', dielectric: 'film', farad: value(1e-7, 0.1), dissipation: null, leakage: null }
    const omega = 2 * Math.PI * 1000
    const jig = {
      reach: { bridge: { frequenciesHz: [1000] } }, residuals: residualsOf(null),
      impedance: async () => ({
        rOhm: { value: 1, u: 0.1, quality: 'good', atMs: 0 }, xOhm: { value: -1 / (omega * 1e-7), u: 1, quality: 'good', atMs: 0 }, frequencyHz: 1000, levelV: 1,
      }),
    } as unknown as Jig
    const verdict = judge({ id: 'C1', part }, await proveCapacitor(jig, { high: 1, low: 2 }, part), [])
    expect([verdict.grade, verdict.notes]).toEqual(['accept', ['its leakage was not measured']])
  })
  it('sends an old electrolytic that only leaks to be formed', () => {
    const part: Capacitor = { kind: 'capacitor', dielectric: 'electrolytic', farad: value(47e-6, 0.2), dissipation: null, leakage: null }
    const leak: Finding = { name: 'leakage', measured: { value: 5e-4, u: 1e-6 }, unit: 'A', limit: { high: 1e-4, source: 'list' }, conditions: '' }
    const c: Finding = { name: 'capacitance', measured: { value: 47e-6, u: 1e-7 }, unit: 'F', limit: valueLimit(part.farad), conditions: '' }
    expect(judge({ id: 'C1', part }, found([c, leak]), [])).toMatchObject({ grade: 'reject', disposition: 'form' })
    const dry = { ...c, measured: { value: 20e-6, u: 1e-7 } }
    expect(judge({ id: 'C1', part }, found([dry, leak]), [])).toMatchObject({ disposition: 'replace' })
  })
})

type Leg = 1 | 2 | 3
const legs: readonly Leg[] = [1, 2, 3]
const looksOf = (conducts: (high: Leg, low: Leg) => number | null) => legs.flatMap(high => legs.filter(low => low !== high)
  .map(low => ({ pair: { high, low }, conducts: conducts(high, low) !== null, volts: conducts(high, low) ?? 4 })))

describe('legs of a bipolar transistor', () => {
  it('are found whichever way it lies, for both polarities', () => {
    fc.assert(fc.property(fc.constantFrom(...legs), fc.boolean(), (base, npn) => {
      const found = judgeLooks(looksOf((high, low) => (npn ? high : low) === base ? 0.65 : null))
      expect(found).toMatchObject({ base, polarity: npn ? 'npn' : 'pnp' })
    }))
  })
  it('are not claimed where a junction is open, shorted, or there are more than two', () => {
    expect(judgeLooks(looksOf(() => null))).toMatchObject({ fault: 'open' })
    expect(judgeLooks(looksOf((high, low) => high === 2 && low === 1 ? 0.65 : null))).toMatchObject({ fault: 'open' })
    expect(judgeLooks(looksOf((high, low) => high !== 3 && low !== 3 ? 0.01 : null))).toMatchObject({ fault: 'short' })
    expect(judgeLooks(looksOf(() => 0.7))).toMatchObject({ fault: 'other kind' })
  })
})
