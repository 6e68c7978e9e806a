import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import {
  freshClock, lookApartMostMs, lookAtClock, notLooked, notRunning, resumeClock, type BurnInClock,
} from '../../src/burn-in/clock.ts'
import { failingConditions, usualConditions, type BurnInSight } from '../../src/burn-in/conditions.ts'
import { dueAt, oneEighth, programmeS, type DriveProgramme } from '../../src/burn-in/programme.ts'
import type { Measured } from '../../src/schema/reading.ts'

const wall0 = 1.8e12
interface Look { afterMs: number; failing: string[] }
function run(looks: readonly Look[], clock: BurnInClock = freshClock, fromMs = 0): { clock: BurnInClock; atMs: number } {
  let atMs = fromMs
  for (const { afterMs, failing } of looks) {
    atMs += afterMs
    clock = lookAtClock(clock, { atMs, wallMs: wall0 + atMs, failing })
  }
  return { clock, atMs }
}
const everySecond = (n: number, failing: string[] = []): Look[] => Array.from({ length: n }, () => ({ afterMs: 1000, failing }))
const looks = fc.array(fc.record({
  afterMs: fc.integer({ min: 1, max: 60_000 }), failing: fc.subarray(['the air cannot be read', 'left is not at its level']),
}), { minLength: 2, maxLength: 200 })

describe('the clock of a burn-in', () => {
  it('counts all of the time while everything holds', () => {
    const { clock } = run(everySecond(3601))
    expect(clock.countedMs).toBe(3600_000)
    expect(clock).toMatchObject({ gap: null, gaps: [], gapCount: 0, lostMs: {} })
  })
  it('shares all time between what counts and its gaps, whatever comes', () => {
    fc.assert(fc.property(looks, list => {
      const { clock, atMs } = run(list)
      const inGaps = [...clock.gaps, ...clock.gap ? [clock.gap] : []].reduce((sum, { lengthMs }) => sum + lengthMs, 0)
      expect(clock.countedMs + inGaps).toBe(atMs - list[0]!.afterMs)
      expect(clock.gapCount).toBe(clock.gaps.length + (clock.gap ? 1 : 0))
    }))
  })
  it('counts no time next to a look that failed, nor where looks were too far apart', () => {
    fc.assert(fc.property(looks, list => {
      const { clock } = run(list)
      const counts = list.slice(1).filter(({ afterMs, failing }, i) =>
        failing.length === 0 && list[i]!.failing.length === 0 && afterMs <= lookApartMostMs)
      expect(clock.countedMs).toBe(counts.reduce((sum, { afterMs }) => sum + afterMs, 0))
    }))
  })
  it('keeps each gap with its ends, its length and its reasons in order', () => {
    const { clock } = run([...everySecond(11), ...everySecond(5, ['the mains cannot be read']), ...everySecond(5, ['the mains cannot be read', 'the air cannot be read']), ...everySecond(11)])
    expect(clock.gaps).toEqual([{
      fromWallMs: wall0 + 11_000, toWallMs: wall0 + 22_000, lengthMs: 11_000, reasons: ['the mains cannot be read', 'the air cannot be read'],
    }])
    expect(clock.countedMs).toBe(20_000)
  })
  it('does not count what nobody looked at, and says so', () => {
    const { clock } = run([...everySecond(11), { afterMs: lookApartMostMs + 1, failing: [] }, ...everySecond(10)])
    expect(clock.countedMs).toBe(20_000)
    expect(clock.gaps[0]).toMatchObject({ lengthMs: lookApartMostMs + 1, reasons: [notLooked] })
  })
  it('goes on after a restart from what was written down, whatever the new monotonic clock says', () => {
    fc.assert(fc.property(fc.integer({ min: 0, max: 1e9 }), fc.integer({ min: 0, max: 1e8 }), (newStart, downMs) => {
      const before = run(everySecond(101)).clock
      const restored = JSON.parse(JSON.stringify(before)) as BurnInClock
      let clock = resumeClock(restored, wall0 + 101_000 + downMs)
      for (let i = 0; i <= 50; i++) clock = lookAtClock(clock, { atMs: newStart + 1000 * i, wallMs: wall0 + 101_000 + downMs + 1000 * i, failing: [] })
      expect(clock.countedMs).toBe(150_000)
      expect(clock.gaps).toEqual([{ fromWallMs: wall0 + 101_000, toWallMs: wall0 + 101_000 + downMs, lengthMs: downMs, reasons: [notRunning] }])
    }))
  })
  it('counts nothing across a restart that nobody told it of', () => {
    const { clock } = run(everySecond(101))
    const after = lookAtClock(clock, { atMs: 5, wallMs: wall0 + 200_000, failing: [] })
    expect(after.countedMs).toBe(100_000)
    expect(after.gaps[0]!.reasons).toEqual([notLooked])
  })
  it('does not grow for ever in a night of flicker, and forgets no time', () => {
    const { clock } = run(Array.from({ length: 6000 }, (_, i) => ({ afterMs: 1000, failing: i % 3 === 0 ? ['left is not at its level'] : [] })))
    expect(clock.gaps.length).toBe(500)
    expect(clock.gapCount).toBe(2000)
    expect(clock.countedMs + clock.lostMs['left is not at its level']!).toBe(5999_000)
  })
})

describe('the conditions under which time counts', () => {
  const good = (value: number, atMs = 100_000): Measured => ({ value, u: 0.01, quality: 'good', atMs })
  const sight: BurnInSight = {
    nowMs: 101_000, airC: good(24), temperatures: [{ place: 'heat-sink', celsius: good(55) }],
    mains: { nominalV: 230, volts: good(226) }, outputs: [{ channel: 'left', dueV: 10, volts: good(9.8) }, { channel: 'right', dueV: 0, volts: good(0.002) }],
  }
  const fails = (more: Partial<BurnInSight>): string[] => failingConditions(usualConditions, { ...sight, ...more })
  it('hold when all is as it is due', () => {
    expect(fails({})).toEqual([])
    expect(fails({ mains: null, outputs: [] })).toEqual([])
    expect(fails({ airC: null })).toEqual([])
    expect(fails({ mains: { nominalV: 0, volts: good(0.3) } })).toEqual([])
  })
  it.each<[string, Partial<BurnInSight>, string[]]>([
    ['a cold room', { airC: good(14.9) }, ['the air is colder than 15 °C']],
    ['a hot room', { airC: good(36) }, ['the air is warmer than 35 °C']],
    ['air that cannot be read', { airC: { ...good(24), quality: 'over-range' } }, ['the air cannot be read']],
    ['an old reading', { temperatures: [{ place: 'heat-sink', celsius: good(55, 80_000) }] }, ['heat-sink cannot be read']],
    ['no reading', { temperatures: [{ place: 'heat-sink', celsius: undefined }] }, ['heat-sink cannot be read']],
    ['NaN', { temperatures: [{ place: 'heat-sink', celsius: good(NaN) }] }, ['heat-sink cannot be read']],
    ['low mains', { mains: { nominalV: 230, volts: good(206) } }, ['the mains are more than 6 % off 230 V']],
    ['mains that stayed on', { mains: { nominalV: 0, volts: good(230) } }, ['the mains are on and should be off']],
    ['drive that is lost', { outputs: [{ channel: 'left', dueV: 10, volts: good(0.01) }] }, ['left is not at its level']],
    ['drive where none is due', { outputs: [{ channel: 'left', dueV: 0, volts: good(1) }] }, ['left is not at its level']],
    ['several at once', { airC: undefined, mains: { nominalV: 230, volts: undefined } }, ['the air cannot be read', 'the mains cannot be read']],
  ])('fail with %s', (_, more, words) => { expect(fails(more)).toEqual(words) })
})

describe('a drive programme', () => {
  const programme: DriveProgramme = {
    seed: 'pavilion-2', phases: [
      { kind: 'idle', forS: 3600 }, { kind: 'tone', frequencyHz: 1000, powerShare: oneEighth, forS: 7200 },
      { kind: 'noise', lowHz: 40, highHz: 15_000, powerShare: oneEighth, forS: 36_000 },
      { kind: 'music', lowHz: 40, highHz: 15_000, powerShare: oneEighth, forS: 36_000 },
      { kind: 'cycles', onS: 300, offS: 300, frequencyHz: 1000, powerShare: oneEighth, forS: 6000 },
    ],
  }
  it('is over after its phases, with all of it off', () => {
    expect(programmeS(programme)).toBe(88_800)
    expect(dueAt(programme, 88_800)).toEqual({ phase: null, mains: 'off', tone: null, untilS: Infinity, drive: 'over' })
  })
  it('asks the same at the same counted time, and nothing else before it says that it will', () => {
    fc.assert(fc.property(fc.double({ min: 0, max: 88_799, noNaN: true }), fc.double({ min: 0, max: 0.999, noNaN: true }), (atS, share) => {
      const due = dueAt(JSON.parse(JSON.stringify(programme)) as DriveProgramme, atS)
      expect(due).toEqual(dueAt(programme, atS))
      expect(due.untilS).toBeGreaterThan(atS)
      expect(dueAt(programme, atS + share * (due.untilS - atS))).toEqual(due)
    }))
  })
  it('never drives a unit whose mains are off, mutes before they go and lets it settle after they came', () => {
    const first = 82_800
    let [cycles, before] = [0, dueAt(programme, first)]
    for (let s = first; s < 88_800; s++) {
      const due = dueAt(programme, s)
      if (due.mains === 'off') expect(due.tone).toBeNull()
      if (due.mains !== before.mains) {
        cycles++
        expect([due.tone, before.tone]).toEqual([null, null])
      }
      before = due
    }
    expect(cycles).toBe(19)
  })
  it.each([['noise', 10_800], ['music', 46_800]])('%s keeps the mean power it was asked for, below rated power, over its band', (kind, fromS) => {
    const steps = Array.from({ length: 18_000 }, (_, i) => dueAt(programme, fromS + 2 * i + 0.5))
    expect(new Set(steps.map(({ drive }) => drive)).size).toBe(1)
    expect(steps[0]!.drive).toContain(kind)
    const powers = steps.map(({ tone }) => tone!.powerShare)
    expect(powers.reduce((a, b) => a + b, 0) / powers.length / oneEighth).toBeCloseTo(1, 1)
    expect(Math.max(...powers)).toBeLessThanOrEqual(1)
    const hz = steps.map(({ tone }) => tone!.frequencyHz)
    expect(Math.min(...hz)).toBeGreaterThanOrEqual(40)
    expect(Math.max(...hz)).toBeLessThanOrEqual(15_000)
    const below775 = hz.filter(f => f < Math.sqrt(40 * 15_000)).length / hz.length
    expect(below775).toBeCloseTo(0.5, 1)
  })
  it('has louder and softer passages in music than in noise', () => {
    const byMinute = (fromS: number): number => {
      const means = Array.from({ length: 600 }, (_, m) => Array.from({ length: 30 }, (_, i) => dueAt(programme, fromS + 60 * m + 2 * i).tone!.powerShare)
        .reduce((a, b) => a + b, 0) / 30)
      const mean = means.reduce((a, b) => a + b, 0) / 600
      return Math.sqrt(means.reduce((sum, one) => sum + (one - mean) ** 2, 0) / 600) / mean
    }
    expect(byMinute(46_800)).toBeGreaterThan(2 * byMinute(10_800))
  })
  it('is refused where it makes no sense', () => {
    const bad = (phase: object): string => {
      try { dueAt({ seed: 's', phases: [phase as never] }, 0); return '' } catch (error) { return String(error) }
    }
    expect(bad({ kind: 'cycles', onS: 5, offS: 5, frequencyHz: 1000, powerShare: 0.1, forS: 100 })).toContain('on for more than 12 s')
    expect(bad({ kind: 'noise', lowHz: 100, highHz: 50, powerShare: 0.1, forS: 100 })).toContain('band')
    expect(bad({ kind: 'idle', forS: 0 })).toContain('lasts 0 s')
  })
})
