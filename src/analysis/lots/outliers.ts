/** Parts that do not belong to their lot. */
import { assert } from '../../base/assert.ts'
import { tQuantile } from '../distributions.ts'
import { assertNumbers } from '../inputs.ts'
import { mean, median, robustSd, sd } from '../statistics.ts'

export interface GrubbsResult {
  /** The value farthest from the mean (on the asked side). */
  index: number
  /** Its distance from the mean, in sample standard deviations. */
  g: number
  critical: number
  outlier: boolean
}

export type GrubbsSide = 'both' | 'high' | 'low'

/**
 * Grubbs' test for one outlier in a normal lot (NIST/SEMATECH e-Handbook 1.3.5.17.1). `alpha`: the chance of
 * a false alarm, 0.05. Asserts three finite values that are not all the same.
 */
export function grubbsTest(values: ArrayLike<number>, side: GrubbsSide = 'both', alpha = 0.05): GrubbsResult {
  assertNumbers(values, 'values', 3)
  const [middle, s] = [mean(values), sd(values)]
  assert(s > 0, 'Grubbs\' test needs values that differ')
  const away = Float64Array.from(values, v => (side === 'both' ? Math.abs(v - middle) : v - middle))
  if (side === 'low') for (let i = 0; i < away.length; i++) away[i] = -away[i]!
  const index = away.reduce((far, v, i) => (v > away[far]! ? i : far), 0)
  const g = away[index]! / s
  const critical = grubbsCritical(values.length, side !== 'both', alpha)
  return { index, g, critical, outlier: g > critical }
}

/** Critical value of Grubbs' test for n values (3 or more), by its closed form. */
export function grubbsCritical(n: number, oneSided: boolean, alpha = 0.05): number {
  assert(Number.isInteger(n) && n >= 3, `Grubbs' test needs three values, got ${n}`)
  const t = tQuantile(1 - alpha / (oneSided ? n : 2 * n), n - 2)
  return (n - 1) / Math.sqrt(n) * Math.sqrt(t * t / (n - 2 + t * t))
}

/**
 * Indices of values farther from the median than `limit` robust standard deviations (1.4826 times the median
 * absolute deviation); 3.5 is common practice. Many outliers cannot hide one another. A lot of which more
 * than half is one value has no robust spread: every other value is then far.
 */
export function robustOutliers(values: ArrayLike<number>, limit = 3.5): number[] {
  assertNumbers(values, 'values')
  const [middle, spread] = [median(values), robustSd(values)]
  return Array.from(values, (v, i) => (Math.abs(v - middle) > limit * spread ? i : -1)).filter(i => i >= 0)
}
