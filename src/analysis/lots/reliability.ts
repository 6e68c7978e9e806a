/** Life from tests: Weibull fit, mean time between failures, acceleration by temperature. */
import { assert } from '../../base/assert.ts'
import { bisect, chi2Quantile } from '../distributions.ts'
import { allPositive } from '../inputs.ts'
import { sum } from '../statistics.ts'

export interface LifeData {
  /** Times of failure, in one unit, above 0. */
  failures: ArrayLike<number>
  /** Times at which parts that still worked left the test. */
  survivors?: ArrayLike<number>
}

export interface WeibullFit {
  shape: number
  /** Time by which 63.2 % have failed, in the unit of the times. */
  scale: number
  logLikelihood: number
  /** Time by which the share has failed. */
  life(share: number): number
}

/**
 * Two-parameter Weibull by maximum likelihood, with survivors of any times (right censoring; NIST/SEMATECH
 * e-Handbook 8.4.1.3). Asserts times above 0, and two failures at different times (a single one has no
 * shape).
 */
export function fitWeibull({ failures, survivors = [] }: LifeData): WeibullFit {
  assert(failures.length >= 2, `a Weibull fit needs two failures, got ${failures.length}`)
  const all = [...Array.from(failures), ...Array.from(survivors)]
  assert(allPositive(all), 'times must be finite and above 0')
  const failed = Array.from(failures)
  const longest = all.reduce((a, b) => Math.max(a, b))
  const scaledLog = (t: number): number => Math.log(t / longest)
  const [logs, failedLogs] = [all.map(scaledLog), failed.map(scaledLog)]
  assert(failed.some(t => t < longest), 'a Weibull fit needs times that differ')
  const meanLog = sum(failedLogs) / failed.length
  const power = (shape: number): number[] => logs.map(l => Math.exp(shape * l))
  const slope = (shape: number): number => {
    const weights = power(shape)
    return sum(weights.map((w, i) => w * logs[i]!)) / sum(weights) - 1 / shape - meanLog
  }
  let high = 1
  while (slope(high) < 0 && high < 1e6) high *= 2
  const shape = bisect(slope, 1e-6, high)
  const scale = longest * (sum(power(shape)) / failed.length) ** (1 / shape)
  const logLikelihood = failed.length * (Math.log(shape) - shape * Math.log(scale) - 1)
    + (shape - 1) * sum(failed.map(Math.log))
  return { shape, scale, logLikelihood, life: share => lifeOf(shape, scale, share) }
}

/**
 * Interval of the shape by the ratio of likelihoods: all shapes whose best likelihood, over every scale, is
 * within half of `chi2` (of one degree of freedom) of the largest. Asserts what `fitWeibull` does.
 */
export function weibullShapeInterval(data: LifeData, chi2: number): { low: number; high: number } {
  const { shape, logLikelihood } = fitWeibull(data)
  const failed = Array.from(data.failures)
  const all = [...failed, ...Array.from(data.survivors ?? [])]
  const longest = all.reduce((a, b) => Math.max(a, b))
  const best = (k: number): number => {
    const scaled = sum(all.map(t => (t / longest) ** k)) / failed.length
    const logScale = Math.log(longest) + Math.log(scaled) / k
    return failed.length * (Math.log(k) - k * logScale - 1) + (k - 1) * sum(failed.map(Math.log))
  }
  const short = (k: number): number => logLikelihood - chi2 / 2 - best(k)
  let [low, high] = [shape, shape]
  while (short(low) < 0 && low > 1e-6 * shape) low /= 2
  while (short(high) < 0 && high < 1e6 * shape) high *= 2
  return { low: bisect(k => -short(k), low, shape), high: bisect(short, shape, high) }
}

function lifeOf(shape: number, scale: number, share: number): number {
  assert(share > 0 && share < 1, `a share between 0 and 1 is needed, got ${share}`)
  return scale * (-Math.log1p(-share)) ** (1 / shape)
}

export interface MtbfBounds {
  /** Test time over failures; Infinity without failures. */
  mtbf: number
  lower: number
  /** Infinity without failures. */
  upper: number
}

/**
 * Bounds of the mean time between failures at constant failure rate, for a test ended at a time set
 * beforehand (NIST/SEMATECH e-Handbook 8.4.5.1): each bound holds with 1-alpha. `deviceHours` in h, all parts
 * together. Asserts hours above 0, whole failures, 0 < alpha < 1.
 */
export function mtbfBounds(deviceHours: number, failures: number, alpha: number): MtbfBounds {
  assert(deviceHours > 0, 'device hours must be above 0')
  assert(Number.isInteger(failures) && failures >= 0, `failures are a whole number, got ${failures}`)
  return {
    mtbf: failures === 0 ? Infinity : deviceHours / failures,
    lower: 2 * deviceHours / chi2Quantile(1 - alpha, 2 * failures + 2),
    upper: failures === 0 ? Infinity : 2 * deviceHours / chi2Quantile(alpha, 2 * failures),
  }
}

/** Failures in 1e9 h, from a mean time between failures in h. */
export const failuresIn1e9h = (mtbfH: number): number => 1e9 / mtbfH

/** Boltzmann's constant in eV/K (SI, exact to the digits given). */
export const boltzmannEvK = 8.617333262e-5

/**
 * How much faster a part ages at `stressC` than at `useC` (°C) when its failure mechanism has the activation
 * energy in eV (Arrhenius). Asserts temperatures above absolute zero and an energy of 0 or more.
 */
export function arrheniusFactor(activationEv: number, useC: number, stressC: number): number {
  assert(activationEv >= 0, `activation energy must be 0 or more, got ${activationEv}`)
  assert(useC > -273.15 && stressC > -273.15, 'temperatures must be above absolute zero')
  return Math.exp(activationEv / boltzmannEvK * (1 / (useC + 273.15) - 1 / (stressC + 273.15)))
}
