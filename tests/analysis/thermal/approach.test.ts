import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { binomialTestTwoSided } from '../../../src/analysis/binomial.ts'
import { fitApproach, fitLateApproach, threePoints } from '../../../src/analysis/thermal/approach.ts'
import { slotMeans } from '../../../src/analysis/thermal/slots.ts'
import type { Series } from '../../../src/analysis/trend.ts'
import { SeededRandom } from '../../../src/base/random.ts'

interface Truth { start: number; change: number; tauS: number }
function record({ start, change, tauS }: Truth, spanS: number, n: number, noise: (i: number) => number, u: number): Series {
  const tS = Array.from({ length: n }, (_, i) => spanS * i / (n - 1))
  return { tS, y: tS.map((t, i) => start - change * Math.expm1(-t / tauS) + noise(i)), u: tS.map(() => u) }
}

describe('the fit of one time constant', () => {
  it('finds start, end, time constant and what is to come, rising or falling, where there is no noise', () => {
    fc.assert(fc.property(fc.double({ min: -20, max: 60, noNaN: true }), fc.double({ min: 5, max: 80, noNaN: true }), fc.boolean(),
      fc.double({ min: 60, max: 5000, noNaN: true }), fc.double({ min: 0.6, max: 6, noNaN: true }), fc.integer({ min: 20, max: 900 }),
      (start, size, isRising, tauS, spans, n) => {
        const change = isRising ? size : -size
        const spanS = spans * tauS
        fc.pre(spanS / (n - 1) < tauS / 2.5)
        const fit = fitApproach(record({ start, change, tauS }, spanS, n, () => 0, 1e-3))
        if (!fit.ok) throw new Error(fit.reason)
        // slots of long records take means over a bend
        const near = (got: number, want: number) => expect(Math.abs(got - want)).toBeLessThan(2e-3 * size)
        near(fit.start.value, start)
        near(fit.end.value, start + change)
        near(fit.remaining.value, change * Math.exp(-spans))
        near(fit.at(2 * spanS).value, start - change * Math.expm1(-2 * spans))
        expect(fit.tauS.value / tauS).toBeCloseTo(1, 2)
      }), { numRuns: 60 })
  })

  it('covers end, time constant and remaining rise in about 95 of 100 noisy records, whose u was right', () => {
    const random = new SeededRandom('approach')
    const inside = { end: 0, tau: 0, remaining: 0, runs: 0 }
    for (let run = 0; run < 600; run++) {
      const truth = { start: random.uniform(15, 30), change: random.uniform(20, 60), tauS: random.uniform(400, 3000) }
      const spanS = random.uniform(1.2, 4) * truth.tauS
      const fit = fitApproach(record(truth, spanS, 150, () => 0.1 * random.normal(), 0.1))
      if (!fit.ok) throw new Error(fit.reason)
      inside.runs++
      const holds = ({ value, u }: { value: number; u: number }, want: number) => Math.abs(value - want) <= 1.96 * u ? 1 : 0
      inside.end += holds(fit.end, truth.start + truth.change)
      inside.tau += holds(fit.tauS, truth.tauS)
      inside.remaining += holds(fit.remaining, truth.change * Math.exp(-spanS / truth.tauS))
    }
    console.log(`one time constant, coverage of 95 % intervals: ${JSON.stringify(inside)}`)
    for (const name of ['end', 'tau', 'remaining'] as const) {
      expect(binomialTestTwoSided(inside[name], inside.runs, 0.95), name).toBeGreaterThan(0.001)
    }
  })

  it('says that it is less sure where the stated u is too small', () => {
    const random = new SeededRandom('too small')
    const fit = fitApproach(record({ start: 20, change: 40, tauS: 900 }, 2700, 150, () => 0.5 * random.normal(), 0.05))
    if (!fit.ok) throw new Error(fit.reason)
    expect(fit.scatter).toBeGreaterThan(8)
    expect(Math.abs(fit.end.value - 60)).toBeLessThan(3 * fit.end.u)
    expect(fit.end.u).toBeGreaterThan(0.05)
  })

  const random = new SeededRandom('refused')
  const noise = (): number => 0.1 * random.normal()
  it.each<[string, Series]>([
    ['too few readings', record({ start: 20, change: 40, tauS: 900 }, 2700, 19, () => 0, 0.1)],
    ['not a number', record({ start: NaN, change: 40, tauS: 900 }, 2700, 30, () => 0, 0.1)],
    ['not a number', record({ start: 20, change: 40, tauS: 900 }, 2700, 30, () => 0, 0)],
    ['times not rising', record({ start: 20, change: 40, tauS: 900 }, -2700, 30, () => 0, 0.1)],
    ['record too short', record({ start: 20, change: 40, tauS: 9000 }, 900, 100, noise, 0.1)],
    ['time constant too short', record({ start: 20, change: 40, tauS: 30 }, 2700, 100, noise, 0.1)],
  ])('refuses: %s', (reason, series) => { expect(fitApproach(series)).toEqual({ ok: false, reason }) })

  it('finds no change in noise alone', () => {
    for (let run = 0; run < 50; run++) {
      const fit = fitApproach(record({ start: 20, change: 0, tauS: 900 }, 2700, 100, noise, 0.1))
      expect(fit.ok ? fit.change : 'refused').toBe('refused')
    }
  })
})

describe('a warm-up of two time constants', () => {
  const twoMasses = (t: number): number => 20 - 12 * Math.expm1(-t / 150) - 35 * Math.expm1(-t / 2400)
  const of = (spanS: number, noise: () => number): Series => {
    const tS = Array.from({ length: 721 }, (_, i) => spanS * i / 720)
    return { tS, y: tS.map(t => twoMasses(t) + noise()), u: tS.map(() => 0.1) }
  }
  it('is fitted late, where the slow one alone is left, and ends within its u', () => {
    const random = new SeededRandom('two masses')
    let inside = 0
    for (let run = 0; run < 200; run++) {
      const fit = fitLateApproach(of(7200, () => 0.1 * random.normal()))
      if (!fit.ok) throw new Error(fit.reason)
      expect(fit.fromS).toBeGreaterThan(0)
      inside += Math.abs(fit.end.value - 67) <= 2 * fit.end.u ? 1 : 0
    }
    console.log(`two masses: end inside two u in ${inside} of 200`)
    expect(inside).toBeGreaterThan(175)
  })
  it('fits from the first reading where there is one mass', () => {
    const tS = Array.from({ length: 300 }, (_, i) => 20 * i)
    const fit = fitLateApproach({ tS, y: tS.map(t => 20 - 30 * Math.expm1(-t / 1500)), u: tS.map(() => 0.05) })
    expect(fit.ok && fit.fromS).toBe(0)
  })
})

describe('three points', () => {
  it('have no end where the steps grow, stand still or turn', () => {
    expect(threePoints([20, 21, 23], 60)).toBeNull()
    expect(threePoints([20, 21, 22], 60)).toBeNull()
    expect(threePoints([20, 21, 21], 60)).toBeNull()
    expect(threePoints([20, 21, 20.5], 60)).toBeNull()
  })
})

describe('slot means', () => {
  it('keep the mean of everything, and the u of it, for any times', () => {
    fc.assert(fc.property(fc.array(fc.tuple(fc.double({ min: 0.01, max: 50, noNaN: true }), fc.double({ min: -9, max: 9, noNaN: true })),
      { minLength: 2, maxLength: 400 }), fc.integer({ min: 1, max: 60 }), (steps, most) => {
      let at = 0
      const tS = steps.map(([step]) => at += step)
      const y = steps.map(([, value]) => value)
      const slots = slotMeans({ tS, y, u: y.map(() => 0.5) }, most)
      expect(slots.y.length).toBeLessThanOrEqual(Math.max(most, 1))
      const counts = slots.u.map(u => (0.5 / u) ** 2)
      expect(counts.reduce((a, b) => a + b, 0)).toBeCloseTo(y.length, 6)
      const mean = slots.y.reduce((sum, value, i) => sum + value * counts[i]!, 0) / y.length
      expect(mean).toBeCloseTo(y.reduce((a, b) => a + b, 0) / y.length, 8)
      for (let i = 1; i < slots.tS.length; i++) expect(slots.tS[i]!).toBeGreaterThan(slots.tS[i - 1]!)
    }))
  })
})
