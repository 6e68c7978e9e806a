import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { FormingStep } from '../../src/sequences/forming.ts'
import type { FormingRules, FormingVerdict } from '../../src/sequences/forming.ts'

const rules: FormingRules = { limitA: 1e-4, minStepS: 600, maxStepS: 7200, stallAfterS: 1800, settledShare: 0.05 }
const noiseA = 2e-8

/** Reads `amps(t)` every 20 s and judges, as a step does, until a verdict other than dwell or `untilS`. */
function follow(amps: (tS: number) => number, untilS: number, over: Partial<FormingRules> = {}, noise = noiseA): { verdict: FormingVerdict; atS: number; all: FormingVerdict[] } {
  const step = new FormingStep(0)
  const all: FormingVerdict[] = []
  for (let tS = 20; tS <= untilS; tS += 20) {
    step.add(tS, amps(tS), noise)
    const verdict = step.judge(tS, { ...rules, ...over })
    all.push(verdict)
    if (verdict.kind !== 'dwell') return { verdict, atS: tS, all }
  }
  return { verdict: all[all.length - 1]!, atS: untilS, all }
}

const noisy = (seed: number | string, amps: (tS: number) => number, noise = noiseA) => {
  const random = new SeededRandom(seed)
  return (tS: number): number => amps(tS) + noise * random.normal()
}

describe('FormingStep', () => {
  it('lets a low and level current go on at the end of the shortest stay, never before', () => {
    const { verdict, atS } = follow(noisy('level', () => 2e-5), 7200)
    expect(verdict.kind).toBe('ready')
    expect(atS).toBe(600)
  })

  it('is ready only under the limit, and never while the current rises', () => {
    fc.assert(fc.property(
      fc.integer({ min: 0, max: 1e6 }), fc.double({ min: 0.05, max: 5, noNaN: true }), fc.double({ min: -1, max: 1, noNaN: true }),
      (seed, share, slope) => {
        const amps = (tS: number): number => rules.limitA * Math.max(0.01, share + slope * tS / 3600)
        const read = noisy(seed, amps)
        let last = 0
        const { verdict, atS } = follow(tS => (last = read(tS)), 7300)
        if (verdict.kind !== 'ready') return
        expect(last).toBeLessThan(rules.limitA)
        expect(atS).toBeGreaterThanOrEqual(rules.minStepS)
        // Settled by its own rule: less than 5 % of the limit in ten minutes, or on its way down.
        expect((amps(atS) - amps(atS - 600)) / rules.limitA).toBeLessThan(rules.settledShare)
      }), { numRuns: 150 })
  })

  it('is not ready under the limit while the current still climbs through it', () => {
    const { all } = follow(noisy('climb', tS => rules.limitA * (0.2 + 0.6 * tS / 3600)), 2400)
    expect(all.some(({ kind }) => kind === 'ready')).toBe(false)
  })

  it('never calls a part stalled whose current still falls by 10 % and more in ten minutes', () => {
    fc.assert(fc.property(
      fc.integer({ min: 0, max: 1e6 }), fc.double({ min: 2, max: 50, noNaN: true }), fc.double({ min: 1200, max: 5400, noNaN: true }),
      (seed, times, tauS) => {
        const { all } = follow(noisy(seed, tS => rules.limitA * times * Math.exp(-tS / tauS)), 7300)
        expect(all.some(({ kind }) => kind === 'stalled' || kind === 'runaway')).toBe(false)
      }), { numRuns: 150 })
  })

  it('never calls a part stalled that heals as one over time, the way oxide does', () => {
    for (let seed = 0; seed < 100; seed++) {
      const { all } = follow(noisy(seed, tS => 30 * rules.limitA / (1 + tS / 300)), 7300)
      expect(all.some(({ kind }) => kind === 'stalled' || kind === 'runaway'), `seed ${seed}`).toBe(false)
    }
  })

  it('tells a part that is out of time but improving to form again, and so without condemning it', () => {
    const { verdict, atS } = follow(noisy('slow', tS => 30 * rules.limitA * Math.exp(-tS / 5000)), 8000)
    expect(verdict).toMatchObject({ kind: 'overdue', improving: true })
    expect(atS).toBe(rules.maxStepS)
  })

  it('holds no slow part for hopeless that another night would bring down by more than 10 %, and one that it would not', () => {
    const slow = (perHour: number, seed: number) =>
      follow(noisy(seed, tS => 5 * rules.limitA * Math.exp(-perHour * tS / 3600)), 7300).all.some(({ kind }) => kind === 'stalled')
    for (let seed = 0; seed < 30; seed++) {
      expect(slow(0.04, seed), `4 % an hour, seed ${seed}`).toBe(false)
      expect(slow(0.001, seed), `0.1 % an hour, seed ${seed}`).toBe(true)
    }
  })

  it('calls a part stalled that stays over its limit, and not before its time', () => {
    for (let seed = 0; seed < 50; seed++) {
      const { verdict, atS } = follow(noisy(seed, () => 3 * rules.limitA), 7300)
      expect(verdict.kind).toBe('stalled')
      expect(atS).toBeGreaterThanOrEqual(rules.stallAfterS)
    }
  })

  it('calls a rise runaway after three windows and not after two', () => {
    const rising = (tS: number): number => rules.limitA * (0.1 + 0.4 * tS / 600)
    const { verdict, atS } = follow(noisy('up', rising), 7300)
    expect(verdict.kind).toBe('runaway')
    expect(atS).toBeGreaterThanOrEqual(1800)
    expect(atS).toBeLessThan(2500)
    const twice = follow(noisy('up and level', tS => rising(Math.min(tS, 1150))), 7300, { stallAfterS: 7000 })
    expect(twice.all.some(({ kind }) => kind === 'runaway')).toBe(false)
  })

  it('calls level noise runaway in none of 300 steps', () => {
    for (let seed = 0; seed < 300; seed++) {
      const { all } = follow(noisy(seed, () => 1.5 * rules.limitA, 1e-6), 3600, { stallAfterS: 7000 }, 1e-6)
      expect(all.some(({ kind }) => kind === 'runaway'), `seed ${seed}`).toBe(false)
    }
  })

  it('cannot read a current whose noise is a third of the limit, and can a little below', () => {
    const third = rules.limitA / 3
    expect(follow(noisy('loud', () => 1e-6, third), 7300, {}, third).verdict.kind).toBe('unreadable')
    expect(follow(noisy('less', () => 1e-6, 0.1 * third), 7300, {}, 0.99 * third).all.some(({ kind }) => kind === 'unreadable')).toBe(false)
  })

  it('dwells without a reading, and thins readings that come closer than 10 s', () => {
    const step = new FormingStep(0)
    expect(step.judge(5000, rules).kind).toBe('dwell')
    step.add(1, 5e-5, noiseA)
    step.add(5, 9e-5, noiseA)
    expect(step.latestA).toBe(5e-5)
    step.add(11, 6e-5, noiseA)
    expect(step.latestA).toBe(6e-5)
  })
})
