/** Rails held against each other while the drive comes and goes: one that sagged is not held against one at rest. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { watchesOf } from '../../src/powering/limits.ts'
import { placesOf } from '../../src/powering/places.ts'
import type { Reading } from '../../src/schema/reading.ts'
import { profile, stand as standSpec } from './fake-stand.ts'

/** Both rails every two seconds, the second so long after the first; volts by what is driven then. */
function told(changesMs: readonly number[], gapMs: number, volts: (atMs: number, isPlus: boolean) => number): string[] {
  const unit = profile()
  const { places } = placesOf(unit, standSpec, { probes: {}, outputs: {}, thermometers: {} })
  let nowMs = 0
  const sinceMs = (): number => Math.max(-Infinity, ...changesMs.filter(ms => ms <= nowMs))
  const [watch] = watchesOf(standSpec, places, () => true, sinceMs)
  const said: string[] = []
  for (let sweepMs = 0; sweepMs < 60_000; sweepMs += 2000) {
    for (const [i, { channel }] of places.rails.entries()) {
      nowMs = sweepMs + i * gapMs
      const value = (i === 0 ? 1 : -1) * volts(nowMs, i === 0)
      const words = watch!.see({ channel, value, u: 0.01, quality: 'good', atMs: nowMs } as Reading)
      if (words !== null) said.push(words)
    }
  }
  return said
}

describe('rails that mirror each other', () => {
  it('are not held across a change of the drive, whenever it comes', () => {
    // Bursts of four seconds that make both rails sag by 9 %, where 5 % apart trips.
    fc.assert(fc.property(fc.integer({ min: 0, max: 1999 }), fc.integer({ min: 10, max: 1900 }), (phaseMs, gapMs) => {
      const changesMs = Array.from({ length: 30 }, (_, i) => phaseMs + 2000 * i + (i % 2) * 900)
      const isDriven = (atMs: number): boolean => changesMs.filter(ms => ms <= atMs).length % 2 === 1
      expect(told(changesMs, gapMs, atMs => isDriven(atMs) ? 36.4 : 40)).toEqual([])
    }))
  })
  it('trip on one that is lost, at rest and under a drive that stands', () => {
    for (const changesMs of [[], [1000]]) {
      expect(told(changesMs, 100, (_, isPlus) => isPlus ? 37 : 40)[0]).toMatch(/smaller than/)
    }
  })
})
