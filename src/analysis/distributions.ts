/**
 * Cumulative probabilities and quantiles: normal, Student t, chi-squared, F, beta. The special functions are
 * jstat's.
 *
 * Accuracy, measured in tests: normal quantile 1e-12 relative; t and chi-squared cdf 1e-11 absolute, F
 * and beta 1e-8. jstat's own t quantile is good to about 1e-8 only, so one Newton step on the cdf follows
 * it; what is left is near 1e-9 relative from two degrees of freedom up, 2e-7 in the tails for one. Above a
 * million degrees of freedom t is taken as normal.
 */
import { assert } from '../base/assert.ts'
import jStat from 'jstat'

const endlessDof = 1e6

/**
 * P(Z <= z) for the standard normal. Absolute error below 1e-15; the far lower tail has no relative accuracy.
 */
export function normalCdf(z: number): number {
  assert(!Number.isNaN(z), 'normalCdf of NaN')
  if (!Number.isFinite(z)) return z > 0 ? 1 : 0
  return Math.min(1, Math.max(0, jStat.normal.cdf(z, 0, 1)))
}

/** z with P(Z <= z) = p, 0 < p < 1. */
export function normalQuantile(p: number): number {
  assertProbability(p)
  return jStat.normal.inv(p, 0, 1)
}

/** Density of the standard normal at z. */
export const normalDensity = (z: number): number => Math.exp(-z * z / 2) / Math.sqrt(2 * Math.PI)

/** P(T <= t) for Student's t; `dof` > 0, need not be whole, may be Infinity. */
export function tCdf(t: number, dof: number): number {
  assertDof(dof)
  assert(!Number.isNaN(t), 'tCdf of NaN')
  if (dof > endlessDof || !Number.isFinite(t)) return normalCdf(t)
  return jStat.studentt.cdf(t, dof)
}

/** t with P(T <= t) = p; `dof` > 0, need not be whole, may be Infinity. */
export function tQuantile(p: number, dof: number): number {
  assertProbability(p)
  assertDof(dof)
  if (dof > endlessDof) return normalQuantile(p)
  if (p === 0.5) return 0
  const first = jStat.studentt.inv(p, dof)
  const step = (jStat.studentt.cdf(first, dof) - p) / jStat.studentt.pdf(first, dof)
  // a step that is not small means the cdf has lost its accuracy far out in the tail: keep the first value
  return Math.abs(step) < 1e-4 * Math.abs(first) ? first - step : first
}

/** P(X <= x) for chi-squared with `dof` > 0 degrees of freedom. */
export function chi2Cdf(x: number, dof: number): number {
  assertDof(dof)
  assert(!Number.isNaN(x), 'chi2Cdf of NaN')
  return x <= 0 ? 0 : jStat.chisquare.cdf(x, dof)
}

/** x with P(X <= x) = p for chi-squared; `dof` > 0. Bisected on the cdf to its accuracy. */
export function chi2Quantile(p: number, dof: number): number {
  assertProbability(p)
  assertDof(dof)
  let high = dof + 10
  while (chi2Cdf(high, dof) < p) high *= 2
  return bisect(x => chi2Cdf(x, dof) - p, 0, high)
}

/** P(X <= x) for the beta distribution on 0…1, a > 0 and b > 0: the regularised incomplete beta function. */
export function betaCdf(x: number, a: number, b: number): number {
  assertDof(a)
  assertDof(b)
  assert(!Number.isNaN(x), 'betaCdf of NaN')
  if (x <= 0) return 0
  return x >= 1 ? 1 : jStat.ibeta(x, a, b)
}

/** x with P(X <= x) = p for the beta distribution. Bisected on the cdf to its accuracy. */
export function betaQuantile(p: number, a: number, b: number): number {
  assertProbability(p)
  return bisect(x => betaCdf(x, a, b) - p, 0, 1)
}

/** P(F >= f) for the F distribution with `dof1` over `dof2` degrees of freedom, f 0 or more. */
export function fUpperTail(f: number, dof1: number, dof2: number): number {
  assertDof(dof1)
  assertDof(dof2)
  assert(f >= 0, `F must be 0 or more, got ${f}`)
  return f === Infinity ? 0 : betaCdf(dof2 / (dof2 + dof1 * f), dof2 / 2, dof1 / 2)
}

/**
 * Where `f` changes sign between `low` and `high`, by halving until the numbers meet. `f(low)` must not have
 * the sign of `f(high)`.
 */
export function bisect(f: (x: number) => number, low: number, high: number): number {
  let [a, b] = [low, high]
  const rising = f(b) > 0 || f(a) < 0
  for (let pass = 0; pass < 200; pass++) {
    const middle = (a + b) / 2
    if (middle === a || middle === b) break
    if ((f(middle) > 0) === rising) b = middle
    else a = middle
  }
  return (a + b) / 2
}

function assertProbability(p: number): void {
  assert(p > 0 && p < 1, `a probability between 0 and 1 is needed, got ${p}`)
}

function assertDof(dof: number): void {
  assert(dof > 0, `degrees of freedom must be above 0, got ${dof}`)
}
