/**
 * Grades a measured value against limits with its uncertainty: guard bands and probability of conformity, in
 * the manner usual for conformity decisions (probability formula and guard-band rule read second-hand; the
 * text of JCGM 106 itself was not at hand).
 */
import { assert } from '../base/assert.ts'
import { normalQuantile, tCdf, tQuantile } from './distributions.ts'
import { expandUncertainty } from './uncertainty.ts'

export type Grade = 'accept' | 'marginal' | 'reject' | 'cannot tell'

/** At least one of the two; both in the unit of the value. */
export interface Limits { lower?: number; upper?: number }

export interface Measured {
  y: number
  /** Standard uncertainty, same unit. */
  u: number
  /** Degrees of freedom of u; Infinity by default. */
  dof?: number
}

export interface ConformancePolicy {
  /** Confidence with which conformity, or non-conformity, must be shown; 0.95, one-sided. */
  confidence?: number
  /**
   * Guard band in the unit of the value, in place of the one that follows from confidence. 0 is simple
   * acceptance: a value on the good side of the limit is accepted.
   */
  guardBand?: number
  /** What was known before: nothing (default), or that such parts are normal about `mean` with `sd`. */
  prior?: { mean: number; sd: number }
}

export interface Conformance {
  grade: Grade
  /**
   * Probability that the true value is within the limits; the prior enters here, and only here. NaN if
   * unknown.
   */
  pConform: number
  /** Expanded uncertainty, 95 % two-sided, and its coverage factor. */
  expandedU: number
  k: number
  guardBand: number
  limits: Limits
  reason?: CannotTell
}
export type CannotTell = 'not a number' | 'no acceptance interval' | 'uncertainty above a third of the limit'

/**
 * `reject` where non-conformity is shown: y beyond a limit by more than the guard band. Else `cannot tell`
 * where the value or its u is not a number, where two guard bands leave no acceptance interval, or where u
 * exceeds a third of the room: the limit itself (one limit), or the interval (two). Else `accept` where
 * conformity is shown: y inside both guard bands and, unless the guard band was given, at least `confidence`
 * of probability within the limits. Else `marginal`. A limit of 0 has no third; the rule is then left out.
 */
export function judgeConformance(
  measured: Measured, limits: Limits, policy: ConformancePolicy = {},
): Conformance {
  const { lower = -Infinity, upper = Infinity } = limits
  const { confidence = 0.95 } = policy
  assertLimits(limits)
  assert(confidence > 0.5 && confidence < 1, `confidence lies between 0.5 and 1, got ${confidence}`)
  assert(policy.guardBand === undefined || policy.guardBand >= 0, 'a guard band is 0 or more')
  const { y, u, dof = Infinity } = measured
  if (!Number.isFinite(y) || !Number.isFinite(u) || u < 0 || !(dof > 0)) return unknown(limits)
  const { expanded, k } = expandUncertainty(u, dof)
  const guardBand = policy.guardBand ?? u * tQuantile(confidence, dof)
  const probability = pConform(measured, limits, policy.prior)
  const result = { pConform: probability, expandedU: expanded, k, guardBand, limits }
  if (y < lower - guardBand || y > upper + guardBand) return { grade: 'reject', ...result }
  const reason = cannotTell(u, guardBand, limits)
  if (reason) return { grade: 'cannot tell', ...result, reason }
  const inside = y >= lower + guardBand && y <= upper - guardBand
  const shown = policy.guardBand !== undefined || pConform(measured, limits) >= confidence - 1e-9
  return { grade: inside && shown ? 'accept' : 'marginal', ...result }
}

/**
 * Probability that the true value lies within the limits, given y and u (normal, or Student t with finite
 * dof). A normal prior is combined by Bayes' rule and treats u as known. u = 0 gives 0 or 1.
 */
export function pConform(measured: Measured, limits: Limits, prior?: { mean: number; sd: number }): number {
  assertLimits(limits)
  const { y, u, dof = Infinity } = prior ? posterior(measured, prior) : measured
  const { lower = -Infinity, upper = Infinity } = limits
  if (!Number.isFinite(y) || !Number.isFinite(u) || u < 0) return NaN
  if (u === 0) return y >= lower && y <= upper ? 1 : 0
  return Math.max(0, tCdf((upper - y) / u, dof) - tCdf((lower - y) / u, dof))
}

function posterior({ y, u }: Measured, prior: { mean: number; sd: number }): Measured {
  assert(prior.sd > 0 && Number.isFinite(prior.mean), 'a prior needs a mean and an sd above 0')
  const share = prior.sd ** 2 / (prior.sd ** 2 + u ** 2)
  return { y: prior.mean + share * (y - prior.mean), u: u * Math.sqrt(share) }
}

function cannotTell(u: number, guardBand: number, { lower, upper }: Limits): CannotTell | undefined {
  if (lower !== undefined && upper !== undefined) {
    if (2 * guardBand >= upper - lower) return 'no acceptance interval'
    return u > (upper - lower) / 3 ? 'uncertainty above a third of the limit' : undefined
  }
  const room = Math.abs((lower ?? upper)!)
  return room > 0 && u > room / 3 ? 'uncertainty above a third of the limit' : undefined
}

function unknown(limits: Limits): Conformance {
  const nothing = { pConform: NaN, expandedU: NaN, k: NaN, guardBand: NaN }
  return { grade: 'cannot tell', ...nothing, limits, reason: 'not a number' }
}

/** Asserts that there is a limit, none is NaN, and lower < upper. */
export function assertLimits({ lower, upper }: Limits): void {
  assert(lower !== undefined || upper !== undefined, 'a decision needs a limit')
  assert(!Number.isNaN(lower) && !Number.isNaN(upper), 'a limit is not a number')
  assert((lower ?? -Infinity) < (upper ?? Infinity), 'the lower limit must be below the upper')
}

/**
 * Acceptance interval for u and policy: limits moved inwards by the guard band; undefined when none is left.
 */
export function acceptanceInterval(u: number, limits: Limits, confidence = 0.95): Limits | undefined {
  assertLimits(limits)
  const w = u * normalQuantile(confidence)
  const { lower, upper } = limits
  if (lower !== undefined && upper !== undefined && 2 * w >= upper - lower) return undefined
  const from = lower !== undefined && { lower: lower + w }
  const to = upper !== undefined && { upper: upper - w }
  return { ...from, ...to }
}

export interface CombinedGrade {
  grade: Grade
  /**
   * Product of the parts: exact for independent errors, and a lower bound where errors are positively related
   * (one meter for all criteria). NaN when one is unknown.
   */
  pConform: number
  /** 1 less the sum of the parts' risks: a lower bound whatever the relation. */
  pConformAtLeast: number
}

const fromWorst: readonly Grade[] = ['reject', 'cannot tell', 'marginal', 'accept']

/** One grade of several criteria: the worst wins, in the order reject, cannot tell, marginal, accept. */
export function combineGrades(parts: readonly { grade: Grade; pConform: number }[]): CombinedGrade {
  assert(parts.length > 0, 'a grade needs a criterion')
  const grade = fromWorst.find(candidate => parts.some(part => part.grade === candidate))!
  return {
    grade,
    pConform: parts.reduce((product, part) => product * part.pConform, 1),
    pConformAtLeast: Math.max(0, parts.reduce((rest, part) => rest - (1 - part.pConform), 1)),
  }
}
