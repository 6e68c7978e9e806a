import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import {
  autocorrelationLag1, correlation, mean, median, medianAbsoluteDeviation, robustSd, sd, sum, uOfMean,
} from '../../src/analysis/statistics.ts'
import { SeededRandom } from '../../src/base/random.ts'

const sample = fc.array(fc.double({ min: -1e6, max: 1e6, noNaN: true }), { minLength: 2, maxLength: 60 })

describe('statistics', () => {
  test('the sum survives cancellation that a plain loop loses', () => {
    expect(sum([1e16, 1, -1e16, 1])).toBe(2)
    expect([1e16, 1, -1e16, 1].reduce((a, b) => a + b, 0)).not.toBe(2)
  })

  test('shifting the data shifts mean and median and leaves the sd', () => {
    fc.assert(fc.property(sample, fc.double({ min: -1e6, max: 1e6, noNaN: true }), (values, shift) => {
      const moved = values.map(v => v + shift)
      expect(mean(moved)).toBeCloseTo(mean(values) + shift, 6)
      expect(median(moved)).toBeCloseTo(median(values) + shift, 6)
      expect(sd(moved)).toBeCloseTo(sd(values), 5)
    }))
  })

  test('mean and median lie within the sample; autocorrelation and correlation within -1 and 1', () => {
    fc.assert(fc.property(sample, values => {
      const [low, high] = [Math.min(...values), Math.max(...values)]
      for (const middle of [mean(values), median(values)]) {
        expect(middle).toBeGreaterThanOrEqual(low - 1e-9)
        expect(middle).toBeLessThanOrEqual(high + 1e-9)
      }
      expect(Math.abs(autocorrelationLag1(values))).toBeLessThanOrEqual(1)
    }))
    expect(correlation([1, 2, 3], [2, 4, 6])).toBeCloseTo(1, 14)
    expect(correlation([1, 2, 3], [6, 4, 2])).toBeCloseTo(-1, 14)
  })

  test('an outlier moves the sd but hardly the robust sd', () => {
    const random = new SeededRandom('outlier')
    const values = Array.from({ length: 500 }, () => random.normal())
    const before = robustSd(values)
    expect(before).toBeGreaterThan(0.9)
    expect(before).toBeLessThan(1.1)
    values[7] = 1e6
    expect(robustSd(values)).toBeCloseTo(before, 1)
    expect(sd(values)).toBeGreaterThan(1e4)
    expect(medianAbsoluteDeviation([1, 1, 2, 2, 4, 6, 9])).toBe(1)
  })

  test('uncertainty of the mean is sd over root n', () => {
    expect(uOfMean([1, 2, 3, 4])).toBeCloseTo(sd([1, 2, 3, 4]) / 2, 15)
  })

  test('empty, single and NaN samples are refused', () => {
    expect(() => mean([])).toThrow(/at least 1/)
    expect(() => sd([1])).toThrow(/at least 2/)
    expect(() => median([1, NaN])).toThrow(/finite/)
    expect(() => correlation([1, 1], [1, 2])).toThrow(/constant/)
    expect(autocorrelationLag1([3, 3, 3])).toBe(0)
  })
})
