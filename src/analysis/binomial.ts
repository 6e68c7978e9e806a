/** Exact binomial test: did k of n go one way more often, or more seldom, than chance `p` explains? */
import { assert } from '../base/assert.ts'
import jStat from 'jstat'

/** P(exactly k of n), each with chance p. */
export function binomialProbability(k: number, n: number, p: number): number {
  assertCounts(k, n)
  assert(p >= 0 && p <= 1, `chance must be 0 to 1, got ${p}`)
  if (p === 0) return k === 0 ? 1 : 0
  if (p === 1) return k === n ? 1 : 0
  const logChoose = jStat.gammaln(n + 1) - jStat.gammaln(k + 1) - jStat.gammaln(n - k + 1)
  return Math.exp(logChoose + k * Math.log(p) + (n - k) * Math.log1p(-p))
}

/** P(k or fewer of n). */
export function binomialCdf(k: number, n: number, p: number): number {
  assertCounts(k, n)
  let total = 0
  for (let i = 0; i <= k; i++) total += binomialProbability(i, n, p)
  return Math.min(1, total)
}

/**
 * Two-sided p value of seeing k of n under chance p: the sum of every outcome no more probable than the one
 * seen (the usual exact two-sided rule; ties are recognised to 1e-7 relative). O(n).
 */
export function binomialTestTwoSided(k: number, n: number, p: number): number {
  const seen = binomialProbability(k, n, p) * (1 + 1e-7)
  let total = 0
  for (let i = 0; i <= n; i++) {
    const probability = binomialProbability(i, n, p)
    if (probability <= seen) total += probability
  }
  return Math.min(1, total)
}

/** P(exactly k) for every k from 0 to n, where trial i succeeds with `chances[i]`. O(n²). */
export function poissonBinomialProbabilities(chances: readonly number[]): Float64Array {
  const probabilities = new Float64Array(chances.length + 1)
  probabilities[0] = 1
  chances.forEach((p, i) => {
    assert(p >= 0 && p <= 1, `chance must be 0 to 1, got ${p}`)
    for (let k = i + 1; k > 0; k--) probabilities[k] = probabilities[k]! * (1 - p) + probabilities[k - 1]! * p
    probabilities[0] = probabilities[0]! * (1 - p)
  })
  return probabilities
}

/**
 * Two-sided p value of k successes, each trial with its own chance; the same rule as `binomialTestTwoSided`.
 */
export function poissonBinomialTestTwoSided(k: number, chances: readonly number[]): number {
  assertCounts(k, chances.length)
  const probabilities = poissonBinomialProbabilities(chances)
  const seen = probabilities[k]! * (1 + 1e-7)
  return Math.min(1, probabilities.reduce((total, p) => p <= seen ? total + p : total, 0))
}

function assertCounts(k: number, n: number): void {
  assert(Number.isInteger(n) && n >= 1, `n must be a whole number of trials, got ${n}`)
  assert(Number.isInteger(k) && k >= 0 && k <= n, `k must be a whole number from 0 to ${n}, got ${k}`)
}
