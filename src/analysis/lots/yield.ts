/** Yield of a lot and what it says of the source the lot came from. */
import { assert } from '../../base/assert.ts'
import { betaQuantile } from '../distributions.ts'

export interface Yield {
  good: number
  n: number
  /** good/n. */
  share: number
  /** Exact binomial (Clopper-Pearson) interval, two-sided. */
  low: number
  high: number
}

/**
 * Yield with its exact interval at `confidence` (0.95). Asserts whole numbers, n >= 1, 0 <= good <= n.
 */
export function yieldOf(good: number, n: number, confidence = 0.95): Yield {
  assert(Number.isInteger(n) && n >= 1, `a yield needs a part, got ${n}`)
  assert(Number.isInteger(good) && good >= 0 && good <= n, `good parts must be 0 to ${n}, got ${good}`)
  const tail = (1 - confidence) / 2
  return {
    good, n, share: good / n,
    low: good === 0 ? 0 : betaQuantile(tail, good, n - good + 1),
    high: good === n ? 1 : betaQuantile(1 - tail, good + 1, n - good),
  }
}
