import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { betaCdf, betaQuantile, bisect, chi2Cdf, chi2Quantile, fUpperTail, tCdf } from '../../src/analysis/distributions.ts'

describe('F, beta and their quantiles', () => {
  test('closed forms: beta(1,b), beta(2,1), chi-squared of two, F(1,d) as t squared, F(2,d)', () => {
    expect(betaCdf(0.3, 1, 4)).toBeCloseTo(1 - 0.7 ** 4, 8)
    expect(betaCdf(0.3, 2, 1)).toBeCloseTo(0.09, 8)
    expect(chi2Quantile(0.95, 2)).toBeCloseTo(-2 * Math.log(0.05), 7)
    expect(fUpperTail(4, 1, 7)).toBeCloseTo(2 * tCdf(-2, 7), 7)
    expect(fUpperTail(3, 2, 10)).toBeCloseTo((1 + 2 * 3 / 10) ** -5, 7)
    expect(fUpperTail(Infinity, 2, 3)).toBe(0)
  })

  test('quantiles invert their cdf', () => {
    const [p, dof] = [fc.double({ min: 0.001, max: 0.999, noNaN: true }), fc.double({ min: 0.5, max: 200, noNaN: true })]
    fc.assert(fc.property(p, dof, dof, (share, a, b) => {
      expect(chi2Cdf(chi2Quantile(share, a), a)).toBeCloseTo(share, 8)
      expect(betaCdf(betaQuantile(share, a, b), a, b)).toBeCloseTo(share, 6)
    }), { numRuns: 60 })
  })

  test('bisection finds rising and falling roots', () => {
    expect(bisect(x => x * x - 2, 0, 2)).toBeCloseTo(Math.SQRT2, 14)
    expect(bisect(x => 2 - x * x, 0, 2)).toBeCloseTo(Math.SQRT2, 14)
  })

  test('what is no distribution is refused', () => {
    expect(() => betaCdf(0.5, 0, 1)).toThrow(/above 0/)
    expect(() => fUpperTail(-1, 2, 2)).toThrow(/0 or more/)
    expect(() => chi2Quantile(1, 3)).toThrow(/between 0 and 1/)
  })
})
