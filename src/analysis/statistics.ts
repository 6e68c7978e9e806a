/**
 * Summary statistics of one sample. Arrays in, numbers out, in the unit of the data. Every function asserts
 * that the sample is not empty and holds finite numbers only. Checked against the NIST StRD univariate sets.
 */
import { assert } from '../base/assert.ts'
import { assertNumbers } from './inputs.ts'

/** Sum with compensation (Neumaier's form of Kahan's method): error near one rounding whatever the order. */
export function sum(values: ArrayLike<number>): number {
  let total = 0
  let lost = 0
  for (let i = 0; i < values.length; i++) {
    const value = values[i]!
    const next = total + value
    lost += Math.abs(total) >= Math.abs(value) ? (total - next) + value : (value - next) + total
    total = next
  }
  return total + lost
}

/** Arithmetic mean, same unit as the values. */
export function mean(values: ArrayLike<number>): number {
  assertNumbers(values, 'values')
  return sum(values) / values.length
}

/**
 * Sample standard deviation (divisor n-1), same unit as the values; two passes, corrected for the mean's
 * rounding.
 */
export function sd(values: ArrayLike<number>): number {
  assertNumbers(values, 'values', 2)
  const middle = mean(values)
  const deviations = Float64Array.from(values, value => value - middle)
  const squares = sum(deviations.map(d => d * d)) - sum(deviations) ** 2 / values.length
  return Math.sqrt(Math.max(0, squares) / (values.length - 1))
}

/** Standard uncertainty of the mean of independent repeats, sd/sqrt(n): a GUM type A evaluation. */
export const uOfMean = (values: ArrayLike<number>): number => sd(values) / Math.sqrt(values.length)

/**
 * Correlation of two equally long samples, -1 to 1. Asserts that neither is constant.
 */
export function correlation(a: ArrayLike<number>, b: ArrayLike<number>): number {
  assertNumbers(a, 'a', 2)
  assertNumbers(b, 'b', 2)
  assert(a.length === b.length, 'correlation needs samples of one length')
  const [meanA, meanB] = [mean(a), mean(b)]
  const products = Float64Array.from(a, (value, i) => (value - meanA) * (b[i]! - meanB))
  const scale = (a.length - 1) * sd(a) * sd(b)
  assert(scale > 0, 'correlation of a constant sample')
  return Math.max(-1, Math.min(1, sum(products) / scale))
}

/**
 * Autocorrelation at lag 1 (deviations from the overall mean; divisor the whole sum of squares, as NIST
 * certifies it). A constant sample has none; 0 is returned.
 */
export function autocorrelationLag1(values: ArrayLike<number>): number {
  assertNumbers(values, 'values', 2)
  const middle = mean(values)
  const deviations = Float64Array.from(values, value => value - middle)
  const squares = sum(deviations.map(d => d * d))
  if (squares === 0) return 0
  return sum(deviations.subarray(1).map((d, i) => d * deviations[i]!)) / squares
}

/** Middle value; the mean of the middle two when n is even. */
export function median(values: ArrayLike<number>): number {
  assertNumbers(values, 'values')
  const sorted = Float64Array.from(values).sort()
  const half = sorted.length >> 1
  return sorted.length % 2 === 1 ? sorted[half]! : (sorted[half - 1]! + sorted[half]!) / 2
}

/** Median absolute deviation from the median, not scaled. */
export function medianAbsoluteDeviation(values: ArrayLike<number>): number {
  const middle = median(values)
  return median(Float64Array.from(values, value => Math.abs(value - middle)))
}

/** Multiplies the median absolute deviation into an estimate of sigma for normal data: 1/quantile(0.75). */
export const madToSigma = 1.482602218505602

/** Spread estimate that a few outliers cannot move: 1.4826 times the median absolute deviation. */
export const robustSd = (values: ArrayLike<number>): number => madToSigma * medianAbsoluteDeviation(values)
