import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { driftsOf, LookBook } from '../../src/burn-in/drift.ts'
import { freshWarming, seeWarmth, warmthOf, type Warming } from '../../src/burn-in/warmth.ts'
import { gainAt } from '../../src/burn-in/gains.ts'

const rules = { place: 'sink', by: 'two-an-hour-twice', limitC: 85, noiseK: 0.05, stepK: 0.1 } as const

function warmed(hours: number, law: (s: number) => number, seed = 1): Warming {
  const random = new SeededRandom(seed)
  let warming = freshWarming('tone')
  for (let s = 0; s < hours * 3600; s += 5) {
    const celsius = Math.round(10 * (law(s) + 0.05 * random.normal())) / 10
    warming = seeWarmth(rules, warming, 'tone', { atS: s, celsius, countedS: s })
  }
  return warming
}

describe('the warmth of a place', () => {
  it('is steady when its law says so, with what remains about right', () => {
    const [changeK, tauS] = [40, 1500]
    for (let seed = 1; seed < 6; seed++) {
      const warming = warmed(3, s => 22 - changeK * Math.expm1(-s / tauS), seed)
      // 1 K in half an hour, twice: begins 1 h before it is seen.
      const lawS = tauS * Math.log(changeK * (1 - Math.exp(-1800 / tauS)))
      expect(warming.steadyAtS!).toBeGreaterThan(lawS + 3400)
      expect(warming.steadyAtS!).toBeLessThan(lawS + 3600 + 600)
      const early = warmed(1.2, s => 22 - changeK * Math.expm1(-s / tauS), seed)
      const found = warmthOf(rules, early, 0.5)
      expect(found.isSteady).toBe(false)
      // After the last reading that is kept, whose temperature is said with it.
      const offK = Math.abs(found.remainingK! - changeK * Math.exp(-early.slots.at(-1)!.atS / tauS))
      expect(offK).toBeLessThan(0.5)
      expect(found.remainingU).toBeGreaterThan(0)
      expect(found.remainingU).toBeLessThan(0.3)
      expect(offK).toBeLessThan(3 * found.remainingU!)
    }
  })
  it('is never steady while it climbs, nor before an hour of it was seen', () => {
    expect(warmed(6, s => 22 + 3 * s / 3600).steadyAtS).toBeNull()
    expect(warmed(0.95, () => 22).steadyAtS).toBeNull()
    expect(warmed(1.1, () => 22).steadyAtS).not.toBeNull()
    const still = warmthOf(rules, warmed(3, () => 22), 0.5)
    expect(still.remainingK).toBe(0)
    // What two readings of a tenth of a kelvin could not have shown.
    expect(still.remainingU).toBeGreaterThan(0.01)
    expect(still.remainingU).toBeLessThan(0.1)
    expect(warmthOf(rules, warmed(0.1, () => 22), 0.5)).toMatchObject({ remainingK: null, remainingU: null })
  })
  it('begins anew with another drive, and keeps no more than it needs', () => {
    const warming = warmed(20, () => 40)
    expect(warming.slots.length).toBeLessThanOrEqual(720)
    const other = seeWarmth(rules, warming, 'idle', { atS: 72_001, celsius: 40, countedS: 72_001 })
    expect(other).toMatchObject({ key: 'idle', slots: [], steadyAtS: null })
  })
})

describe('drift between two looks', () => {
  const unitOf = (): string => 'V'
  const book = (value: (s: number) => number, { keys = () => 'tone', hours = 6, seed = 1, mains = () => 230, u = 1e-3 }: {
    keys?: (s: number) => string | null; hours?: number; seed?: number; mains?: (s: number) => number; u?: number
  } = {}): LookBook => {
    const random = new SeededRandom(seed)
    const kept = new LookBook(600)
    for (let s = 0; s < hours * 3600; s += 2) {
      kept.see(keys(s), s, [
        { of: 'x', value: value(s) + 0.02 * random.normal(), u }, { of: 'mains.voltage', value: mains(s), u: 0.2 }])
    }
    return kept
  }
  it('covers the truth as often as it says, and is as small as it may be', () => {
    let inside = 0
    const n = 300
    for (let seed = 0; seed < n; seed++) {
      const [drift] = driftsOf(book(s => 1 + 1e-6 * s, { seed, u: 1e-4 }), unitOf, () => 0)
      if (Math.abs(drift!.change - 1e-6 * 3600 * drift!.hours) < 1.96 * drift!.u) inside++
      expect(drift!.u).toBeLessThan(0.02 * Math.sqrt(2 / 300) * 1.5)
    }
    expect(inside / n).toBeGreaterThan(0.91)
  })
  it('compares the same drive alone, and the one that was looked at longest', () => {
    const keys = (s: number): string => s < 7200 ? 'tone' : s < 14_400 ? 'idle' : 'tone'
    const [drift] = driftsOf(book(s => s < 7200 ? 1 : s < 14_400 ? 5 : 1.5, { keys }), unitOf, () => 0)
    expect(drift!.change).toBeCloseTo(0.5, 2)
    expect(drift!.hours).toBeGreaterThan(5)
  })
  it('throws away a stretch in which anything failed, and says nothing after one look', () => {
    expect(driftsOf(book(() => 1, { keys: s => s % 500 === 0 ? null : 'tone' }), unitOf, () => 0)).toEqual([])
    expect(driftsOf(book(() => 1, { hours: 0.3 }), unitOf, () => 0)).toEqual([])
  })
  it('does not call a drift what the mains explains', () => {
    const moved = book(s => s < 10_000 ? 100 : 97, { mains: s => s < 10_000 ? 230 : 223.1 })
    const [blind] = driftsOf(moved, unitOf, () => 0)
    const [seeing] = driftsOf(moved, unitOf, () => 1)
    expect(Math.abs(blind!.change)).toBeGreaterThan(10 * blind!.u)
    expect(Math.abs(seeing!.change)).toBeLessThan(2 * seeing!.u)
  })
  it('counts readings that resemble one another for less', () => {
    let slow = 0
    const kept = new LookBook(600)
    const random = new SeededRandom('slow')
    for (let s = 0; s < 7200; s += 2) {
      slow = 0.99 * slow + 0.01 * random.normal()
      kept.see('tone', s, [{ of: 'x', value: slow, u: 1e-9 }])
    }
    const [drift] = driftsOf(kept, unitOf, () => 0)
    expect(Math.abs(drift!.change)).toBeLessThan(6 * drift!.u)
  })
})

describe('a table of gains', () => {
  it('is a line over the logarithm of frequency, and ends at its ends', () => {
    const table = { hz: [100, 10_000], gain: [10, 20] }
    expect([10, 100, 1000, 10_000, 1e5].map(hz => gainAt(table, hz))).toEqual([10, 10, expect.closeTo(15, 9), 20, 20])
  })
})
