import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { freshPosition } from '../../src/engine/position.ts'
import type { PositionState } from '../../src/engine/position.ts'
import { partProfile } from '../../src/schema/part-profile.ts'
import type { Measured } from '../../src/schema/reading.ts'
import type { BridgeReading } from '../../src/schema/roles.ts'
import { openCheck, partCheck } from '../../src/sequences/bench-check-bridge.ts'
import {
  bleederCheck, bleederOf, contactCheck, leftV, watchClosesCheck, watchOpensCheck,
} from '../../src/sequences/bench-check-discharge.ts'
import type { Bleeder, Discharge } from '../../src/sequences/bench-check-discharge.ts'
import { chargedCheck, slowCheck } from '../../src/sequences/bench-check-formal.ts'
import { failed, shown } from '../../src/sequences/bench-check-judge.ts'
import type { Seen } from '../../src/sequences/bench-check-judge.ts'
import { followMs, followsIn } from '../../src/sequences/bench-check-plan.ts'

const profile = partProfile.parse({
  name: 'can', kind: 'aluminium-electrolytic', capacitanceF: 47e-6, ratedV: 450, leakage: { family: 'general' }, dissipationMax: 0.2,
})
const position: PositionState = freshPosition(0, { name: 'P01', relay: 1, sense: 101 },
  { position: 'P01', part: 'T1', profile: 'can', note: '', condition: 'sound' }, profile)

/** A plain RC discharge, released at 1000 ms, read by a meter of `share` uncertainty. */
function discharge({ ohm = 101e3, farad = 47e-6, stoodV = 24, atMs = [1200, 1600, 2000, 2600], share = 1e-3, spanMs = 0 } = {}): Discharge {
  const readings = atMs.map(at => {
    const value = stoodV / ohm * Math.exp(-(at - 1000) / 1000 / (ohm * farad))
    return { value, u: share * value, atMs: at }
  })
  return { stood: { value: stoodV, u: 1e-3 * stoodV }, fromMs: 1000 - spanMs, byMs: 1000 + spanMs, readings }
}

const bleeder: Bleeder = { ohm: 101e3, u: 300, tauS: 4.7, stoodV: 24, startMs: 1000 }
const seen = (value: number, atMs = 2000): Seen => ({ value, u: 1e-9, atMs })

describe('the value of a bleeder', () => {
  it('comes out of any discharge whose readings stand above the noise', () => {
    fc.assert(fc.property(
      fc.double({ min: 1e4, max: 1e6, noNaN: true }), fc.double({ min: 1e-6, max: 1e-3, noNaN: true }), fc.double({ min: 5, max: 30, noNaN: true }),
      (ohm, farad, stoodV) => {
        const tauMs = 1000 * ohm * farad
        const got = bleederOf(discharge({ ohm, farad, stoodV, atMs: [0.1, 0.3, 0.5].map(share => 1000 + share * tauMs) }))!
        expect(got.ohm / ohm).toBeCloseTo(1, 6)
        expect(got.tauS / (ohm * farad)).toBeCloseTo(1, 6)
        expect(got.u).toBeGreaterThan(1e-3 * ohm)
      }))
  })

  it('is less sure the less is known of the instant of release', () => {
    const [sharp, blurred] = [0, 500].map(spanMs => bleederOf(discharge({ spanMs }))!)
    expect(blurred!.u).toBeGreaterThan(5 * sharp!.u)
  })

  it('needs two readings that show a current', () => {
    expect(bleederOf(discharge({ atMs: [1200] }))).toBeNull()
    expect(bleederOf(discharge({ share: 0.5 }))).toBeNull()
  })

  it.each([[100e3, false], [115e3, false], [50e3, true], [200e3, true], [10e6, true]])('of %d Ω is judged', (ohm, isBad) => {
    const check = bleederCheck(position, bleederOf(discharge({ ohm: ohm + 1e3 })), { ohm: 100e3, senseOhm: 1e3, share: 0.2 })
    expect(failed(check)).toBe(isBad)
  })

  it('fails where the current was gone before it could be followed', () => {
    expect(failed(bleederCheck(position, null, { ohm: 100e3, senseOhm: 1e3, share: 0.2 }))).toBe(true)
  })
})

describe('contact of a released part', () => {
  it('is seen by its discharge, is missed without one, and says nothing below the noise', () => {
    expect(failed(contactCheck(position, discharge(), 101e3)!)).toBe(false)
    const none = { ...discharge(), readings: [seen(1e-9, 1200)] }
    expect(failed(contactCheck(position, none, 101e3)!)).toBe(true)
    expect(contactCheck(position, { ...none, readings: [{ ...seen(0, 1200), u: 1e-3 }] }, 101e3)).toBeNull()
    expect(contactCheck(position, { ...none, readings: [] }, 101e3)).toBeNull()
  })
})

describe('the watch relay', () => {
  const openMs = 2000
  const watchOhm = 10e6
  const lowA = leftV(bleeder, openMs) / (bleeder.ohm + watchOhm)

  it('passes where the current falls by (Rb + Rw) / Rb, and fails where it does not or falls to nothing', () => {
    expect(failed(watchOpensCheck(position, bleeder, { openMs, watchOhm }, seen(lowA), 0.2))).toBe(false)
    expect(failed(watchOpensCheck(position, bleeder, { openMs, watchOhm }, seen(leftV(bleeder, openMs) / bleeder.ohm), 0.2))).toBe(true)
    expect(failed(watchOpensCheck(position, bleeder, { openMs, watchOhm }, seen(0), 0.2))).toBe(true)
  })

  it('passes where the current comes back, and fails where it stays low', () => {
    const watched = { openMs, closeMs: 3000, watchOhm }
    const backA = leftV(bleeder, openMs) / bleeder.ohm
    expect(failed(watchClosesCheck(position, bleeder, watched, seen(0.9 * backA, 3100)))).toBe(false)
    expect(failed(watchClosesCheck(position, bleeder, watched, seen(lowA, 3100)))).toBe(true)
  })
})

describe('the formal relay', () => {
  const expectedA = (atMs: number): number => 2e-4 * Math.exp(-atMs / 5000)

  it('is open where both readings are on the curve of the limiting resistor', () => {
    const on = [200, 600].map(atMs => seen(expectedA(atMs), atMs))
    expect(failed(slowCheck(position, on, expectedA))).toBe(false)
    expect(failed(slowCheck(position, [on[0]!, seen(0, 600)], expectedA))).toBe(true)
    expect(failed(slowCheck(position, [seen(3e-3, 200), on[1]!], expectedA))).toBe(true)
  })

  it('closes where the part comes back from the bus full', () => {
    const bus = { value: 23, u: 0.01, atMs: 0 }
    const full = seen(23 / bleeder.ohm * Math.exp(-0.2 / bleeder.tauS), 1200)
    expect(failed(chargedCheck(position, bleeder, full, bus))).toBe(false)
    expect(failed(chargedCheck(position, bleeder, { ...full, value: 0.7 * full.value }, bus))).toBe(true)
  })
})

describe('the bridge relay', () => {
  const reading = (value: number, quality: Measured['quality'] = 'good'): BridgeReading => {
    const measured: Measured = { value, u: 1e-3 * Math.abs(value), quality, atMs: 0 }
    return { capacitance: measured, esr: measured, dissipation: measured, frequencyHz: 120 }
  }

  it('closes where the bridge finds the test part within its tolerance', () => {
    expect(failed(partCheck(position, reading(50e-6)))).toBe(false)
    for (const bad of [reading(20e-6), reading(100e-6), reading(NaN, 'over-range'), 'no answer']) {
      expect(failed(partCheck(position, bad))).toBe(true)
    }
  })

  it('is open where the bridge finds nothing, or strays', () => {
    for (const open of [reading(NaN, 'over-range'), reading(300e-12)]) expect(failed(openCheck(null, 'open', open))).toBe(false)
    for (const bad of [reading(47e-6), 'no answer']) expect(failed(openCheck(null, 'open', bad))).toBe(true)
  })
})

describe('the time that following takes', () => {
  it('is half a time constant, three sweeps at least, and fits where the part is large enough for the sweeps', () => {
    expect(followMs(profile, 100e3, 200)).toBeCloseTo(2350, 6)
    expect(followMs(profile, 100e3, 2000)).toBe(6000)
    expect(followMs({ ...profile, capacitanceF: 2200e-6 }, 100e3, 200)).toBe(15_000)
    expect(followsIn(profile, 100e3, 1800)).toBe(true)
    expect(followsIn(profile, 100e3, 1900)).toBe(false)
  })
})

describe('ohms in words', () => {
  it.each([[820, '820 Ω'], [51.2e3, '51.2 kΩ'], [10e6, '10.0 MΩ'], [1e11, '100 GΩ']])('%d is %s', (ohm, words) => {
    expect(shown(ohm)).toBe(words)
  })
})
