import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import {
  binomialCdf, binomialProbability, binomialTestTwoSided, poissonBinomialProbabilities,
  poissonBinomialTestTwoSided,
} from '../../src/analysis/binomial.ts'
import { SeededRandom } from '../../src/base/random.ts'

describe('binomial', () => {
  test('small cases counted by hand', () => {
    expect(binomialTestTwoSided(0, 5, 0.5)).toBeCloseTo(2 / 32, 12)
    expect(binomialTestTwoSided(1, 5, 0.5)).toBeCloseTo(12 / 32, 12)
    expect(binomialTestTwoSided(8, 10, 0.5)).toBeCloseTo(112 / 1024, 12)
    expect(binomialTestTwoSided(2, 4, 0.5)).toBeCloseTo(1, 12)
    expect(binomialTestTwoSided(0, 3, 0)).toBe(1)
    expect(binomialTestTwoSided(1, 3, 0)).toBe(0)
  })

  test('n=80 c=2 acceptance: 0.953447 at 1 %, 0.230621 at 5 % (computed independently)', () => {
    expect(binomialCdf(2, 80, 0.01)).toBeCloseTo(0.953447, 6)
    expect(binomialCdf(2, 80, 0.05)).toBeCloseTo(0.230621, 6)
  })

  test('probabilities add up to 1, and the p value is symmetric at an even chance', () => {
    const [count, chance] = [fc.integer({ min: 1, max: 200 }), fc.double({ min: 0, max: 1, noNaN: true })]
    fc.assert(fc.property(count, chance, (n, p) => {
      let total = 0
      for (let k = 0; k <= n; k++) total += binomialProbability(k, n, p)
      expect(total).toBeCloseTo(1, 9)
      const k = n >> 2
      expect(binomialTestTwoSided(k, n, 0.5)).toBeCloseTo(binomialTestTwoSided(n - k, n, 0.5), 9)
    }))
  })

  test('the test holds its size: at most 5 % of outcomes have p at or below 0.05', () => {
    for (const [n, p] of [[20, 0.3], [50, 0.1], [100, 0.5]] as const) {
      let size = 0
      for (let k = 0; k <= n; k++) {
        if (binomialTestTwoSided(k, n, p) <= 0.05) size += binomialProbability(k, n, p)
      }
      expect(size).toBeLessThanOrEqual(0.05)
      expect(size).toBeGreaterThan(0.01)
    }
  })

  test('counts that cannot be are refused', () => {
    expect(() => binomialTestTwoSided(6, 5, 0.5)).toThrow(/0 to 5/)
    expect(() => binomialTestTwoSided(0, 0, 0.5)).toThrow(/trials/)
    expect(() => binomialTestTwoSided(1, 5, 1.2)).toThrow(/chance/)
  })
})

describe('trials each with its own chance', () => {
  test('three by hand: chances 1/2, 1/4, 1', () => {
    expect([...poissonBinomialProbabilities([0.5, 0.25, 1])]).toEqual([0, 0.375, 0.5, 0.125])
    expect(poissonBinomialTestTwoSided(3, [0.5, 0.25, 1])).toBeCloseTo(0.125, 12)
    expect(poissonBinomialTestTwoSided(1, [0.5, 0.25, 1])).toBeCloseTo(0.5, 12)
    expect(poissonBinomialTestTwoSided(0, [0.5, 0.25, 1])).toBe(0)
  })

  test('equal chances give the binomial', () => {
    const [count, chance] = [fc.integer({ min: 1, max: 80 }), fc.double({ min: 0, max: 1, noNaN: true })]
    fc.assert(fc.property(count, chance, (n, p) => {
      const chances = Array<number>(n).fill(p)
      for (const k of [0, n >> 1, n]) {
        expect(poissonBinomialProbabilities(chances)[k]).toBeCloseTo(binomialProbability(k, n, p), 9)
        expect(poissonBinomialTestTwoSided(k, chances)).toBeCloseTo(binomialTestTwoSided(k, n, p), 6)
      }
    }))
  })

  test('it holds its size for mixed chances, and finds a shift of a tenth in 400 trials', () => {
    const random = new SeededRandom(4)
    const chances = Array.from({ length: 400 }, () => random.uniform(0.05, 0.85))
    const rejected = (by: number): number => {
      let count = 0
      for (let round = 0; round < 300; round++) {
        const k = chances.filter(p => random.next() < p + by).length
        if (poissonBinomialTestTwoSided(k, chances) <= 0.05) count++
      }
      return count / 300
    }
    expect(rejected(0)).toBeLessThan(0.09)
    expect(rejected(0.1)).toBeGreaterThan(0.9)
  })
})
