import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import {
  chi2Cdf, normalCdf, normalQuantile, tCdf, tQuantile,
} from '../../src/analysis/distributions.ts'

const probability = fc.double({ min: 1e-4, max: 1 - 1e-4, noNaN: true })

describe('distributions', () => {
  test('quantiles undo the cumulative probabilities', () => {
    fc.assert(fc.property(probability, fc.double({ min: 1, max: 500, noNaN: true }), (p, dof) => {
      expect(normalCdf(normalQuantile(p))).toBeCloseTo(p, 12)
      expect(tCdf(tQuantile(p, dof), dof)).toBeCloseTo(p, 10)
    }))
  })

  test('t with one degree of freedom is the Cauchy distribution: quantile tan(pi(p-1/2))', () => {
    for (const p of [0.01, 0.2, 0.6, 0.975, 0.999]) {
      const closed = Math.tan(Math.PI * (p - 0.5))
      expect(Math.abs(tQuantile(p, 1) / closed - 1)).toBeLessThan(2e-7)
    }
  })

  test('t with two degrees of freedom has a closed form', () => {
    for (const p of [0.01, 0.2, 0.6, 0.975, 0.999]) {
      const closed = (2 * p - 1) * Math.sqrt(2 / (4 * p * (1 - p)))
      expect(tQuantile(p, 2) / closed).toBeCloseTo(1, 9)
    }
  })

  test('chi-squared with two degrees of freedom is exponential', () => {
    for (const p of [0.01, 0.5, 0.99]) expect(chi2Cdf(-2 * Math.log(1 - p), 2)).toBeCloseTo(p, 11)
  })

  test('t meets the normal at endless degrees of freedom', () => {
    expect(tQuantile(0.975, Infinity)).toBe(normalQuantile(0.975))
    expect(tQuantile(0.975, 9e5)).toBeCloseTo(normalQuantile(0.975), 5)
  })

  test('the tails and the middle are exact', () => {
    expect(normalCdf(Infinity)).toBe(1)
    expect(normalCdf(-Infinity)).toBe(0)
    expect(normalCdf(0)).toBeCloseTo(0.5, 15)
    expect(tQuantile(0.5, 7)).toBe(0)
    expect(chi2Cdf(-1, 3)).toBe(0)
  })

  test('probabilities of 0 and 1, no degrees of freedom and NaN are refused', () => {
    expect(() => normalQuantile(0)).toThrow(/probability/)
    expect(() => tQuantile(1, 5)).toThrow(/probability/)
    expect(() => tQuantile(0.9, 0)).toThrow(/degrees of freedom/)
    expect(() => normalCdf(NaN)).toThrow(/NaN/)
  })
})
