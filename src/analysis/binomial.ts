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

function assertCounts(k: number, n: number): void {
  assert(Number.isInteger(n) && n >= 1, `n must be a whole number of trials, got ${n}`)
  assert(Number.isInteger(k) && k >= 0 && k <= n, `k must be a whole number from 0 to ${n}, got ${k}`)
}
