/**
 * Capability of a lot against its limits. Formulas: NIST/SEMATECH e-Handbook 6.1.6; interval after Bissell.
 */
import { assert } from '../../base/assert.ts'
import { normalQuantile } from '../distributions.ts'

/** Limits of a grade in the unit of the values; one may be missing. */
export interface Limits { lower?: number | undefined; upper?: number | undefined }

export interface Capability {
  /** (upper - lower)/(6 s); undefined with one limit only. */
  cp: number | undefined
  /** The lesser distance of the mean from a limit, in units of 3 s. */
  cpk: number
  /** Two-sided interval of cpk (Bissell's approximation, from memory). */
  cpkLow: number
  cpkHigh: number
}

/**
 * Cp and Cpk from n, mean and s, with the interval at `confidence` (0.95). Asserts n >= 2, s > 0, a limit,
 * and lower below upper.
 */
export function capability(
  { n, mean, s }: { n: number; mean: number; s: number }, { lower, upper }: Limits, confidence = 0.95,
): Capability {
  assert(n >= 2 && s > 0, 'capability needs two parts that differ')
  assert(lower !== undefined || upper !== undefined, 'capability needs a limit')
  const two = lower !== undefined && upper !== undefined
  assert(!two || lower < upper, 'the lower limit must be below the upper')
  const room = Math.min((upper ?? Infinity) - mean, mean - (lower ?? -Infinity))
  const cpk = room / (3 * s)
  const half = normalQuantile((1 + confidence) / 2) * Math.sqrt(1 / (9 * n) + cpk ** 2 / (2 * (n - 1)))
  return { cp: two ? (upper - lower) / (6 * s) : undefined, cpk, cpkLow: cpk - half, cpkHigh: cpk + half }
}
