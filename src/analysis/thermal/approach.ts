/**
 * A temperature on its way to where it will stay: T = start + change·(1 − exp(−t/τ)), one time constant, by
 * least squares. The same law carries the resistance of a winding that cools. The values are in whatever unit
 * they came in; times in s.
 */
import type { Estimate } from '../decay-fit.ts'
import { chi2Cdf } from '../distributions.ts'
import { allFinite, allPositive, assertSameLength, isAscending } from '../inputs.ts'
import { fitLinear } from '../linear-fit.ts'
import { median } from '../statistics.ts'
import type { Series } from '../trend.ts'
import { propagateCovariance } from '../uncertainty.ts'
import { slotMeans } from './slots.ts'

export interface ApproachFit {
  ok: true
  /** Time of the first reading, from which the law counts. */
  fromS: number
  /** Value then, value for ever, and the way between. */
  start: Estimate
  end: Estimate
  change: Estimate
  tauS: Estimate
  /** What is still to come after the last reading. */
  remaining: Estimate
  /** Scatter of the readings in units of their stated u; above 1 it is in every u given here. */
  scatter: number
  dof: number
  /** Value of the law at a time, beyond the record too; `u` holds no noise of a reading. */
  at(tS: number): Estimate
}
export type ApproachRefusal =
  | 'too few readings' | 'not a number' | 'times not rising' | 'no change'
  | 'time constant too short' | 'record too short' | 'time constant unknown' | 'no window fits'
export type ApproachResult = ApproachFit | { ok: false; reason: ApproachRefusal }

/** Fewer cannot carry three parameters and say how sure they are (reference: 20 or more). */
const fewest = 20
/** A shorter time constant has passed before it was seen; so many steps between readings (our choice). */
const stepsLeast = 2
/** Of a longer one, in spans of the record, the end is a guess (our choice). */
const spansMost = 2
/** More than this share of itself, and the time constant is not known (our choice). */
const tauShareMost = 0.3

/**
 * Fits readings `y` at `tS` (s) with `u`, the random part of their standard uncertainty. Refuses, with the
 * reason, what the record cannot carry: under 20 readings, a change below three times its u, a time constant
 * under two steps or above two spans of the record, or known worse than to 30 %. Asserts equal lengths.
 */
export function fitApproach(series: Series): ApproachResult {
  const reason = refuse(series)
  if (reason) return { ok: false, reason }
  const { tS, y, u } = slotMeans(series)
  const [fromS, toS] = [series.tS[0]!, series.tS[series.tS.length - 1]!]
  const since = tS.map(t => t - fromS)
  const tauS = bestTauS(since, y, u)
  if (tauS === null) return { ok: false, reason: 'record too short' }
  const scaled = fitted(since, y, u, tauS)
  if (!scaled) return { ok: false, reason: 'no change' }
  const gate = refuseFit(scaled, since)
  return gate ? { ok: false, reason: gate } : resultOf(scaled, fromS, toS - fromS)
}

/** Start, change and ln τ: a time constant is above 0. */
const law = ([start, change, logTau]: number[]) => {
  const tauS = Math.exp(logTau!)
  return (tS: number): number => start! - change! * Math.expm1(-tS / tauS)
}

/**
 * Value for ever and time constant of three values that are equally far apart in time (reference, H07). A
 * start for a fit, no result: noise goes straight into it. Null where the second step is not shorter than the
 * first, and the same way.
 */
export function threePoints(
  values: readonly [number, number, number], spacingS: number,
): { end: number; tauS: number } | null {
  const [a, b, c] = values
  const ratio = (b - a) / (c - b)
  if (!(ratio > 1) || ratio === Infinity) return null
  return { end: (a * c - b * b) / (a + c - 2 * b), tauS: spacingS / Math.log(ratio) }
}

/** Means over three equal spans follow the law too: their three-point time constant is its own. */
function guessTauS(since: readonly number[], y: readonly number[]): number {
  const spanS = since[since.length - 1]!
  const means = [0, 1, 2].map(third => {
    const inside = y.filter((_, i) => Math.min(2, Math.floor(3 * since[i]! / spanS)) === third)
    return inside.length === 0 ? NaN : inside.reduce((sum, one) => sum + one, 0) / inside.length
  })
  return threePoints(means as [number, number, number], spanS / 3)?.tauS ?? NaN
}

/** Where the search ends, in spans of the record. */
const searchSpans = 50
/** Steps of the grid for each factor of e. */
const gridPerFold = 2

/**
 * The time constant of least squares: for each, start and change follow by a line. Around the three-point
 * guess where the squares rise on both sides of it, else wherever a grid is lowest. Null at the long end of
 * the search.
 */
function bestTauS(since: number[], y: number[], u: number[]): number | null {
  const squares = (logTau: number): number => lineFor(since, y, u, Math.exp(logTau)).squares
  const spanS = since[since.length - 1]!
  const [low, high] = [Math.log(spanS / since.length / 4), Math.log(searchSpans * spanS)]
  const guess = Math.log(guessTauS(since, y))
  const reach = 1
  const isInside = guess - reach > low && guess + reach < high
  if (isInside && squares(guess) < Math.min(squares(guess - reach), squares(guess + reach))) {
    return Math.exp(lowest(squares, guess - reach, guess + reach))
  }
  const steps = Math.ceil(gridPerFold * (high - low))
  const grid = Array.from({ length: steps + 1 }, (_, i) => low + (high - low) * i / steps)
  const found = grid.map(squares)
  const best = found.indexOf(Math.min(...found))
  if (best === grid.length - 1) return null
  return Math.exp(lowest(squares, grid[Math.max(0, best - 1)]!, grid[best + 1]!))
}

/** Golden section down to rounding. */
function lowest(f: (x: number) => number, from: number, to: number): number {
  const golden = (Math.sqrt(5) - 1) / 2
  let [a, b] = [from, to]
  let [c, d] = [b - golden * (b - a), a + golden * (b - a)]
  let [fc, fd] = [f(c), f(d)]
  while (b - a > 1e-9) {
    if (fc < fd) { b = d; d = c; fd = fc; c = b - golden * (b - a); fc = f(c) }
    else { a = c; c = d; fc = fd; d = a + golden * (b - a); fd = f(d) }
  }
  return (a + b) / 2
}

function lineFor(
  since: number[], y: number[], u: number[], tauS: number,
): { start: number; change: number; squares: number } {
  const x = since.map(t => -Math.expm1(-t / tauS))
  let [sw, sx, sy] = [0, 0, 0]
  for (let i = 0; i < y.length; i++) { const w = u[i]! ** -2; sw += w; sx += w * x[i]!; sy += w * y[i]! }
  const [meanX, meanY] = [sx / sw, sy / sw]
  let [sxx, sxy, syy] = [0, 0, 0]
  for (let i = 0; i < y.length; i++) {
    const [w, dx, dy] = [u[i]! ** -2, x[i]! - meanX, y[i]! - meanY]
    sxx += w * dx * dx; sxy += w * dx * dy; syy += w * dy * dy
  }
  const change = sxx > 0 ? sxy / sxx : 0
  return { start: meanY - change * meanX, change, squares: Math.max(0, syy - change * sxy) }
}

interface Scaled { parameters: number[]; covariance: number[][]; scatter: number; dof: number }

/**
 * Covariance from the slopes of the law by its parameters. Residuals that resemble one another, as those of a
 * law that does not quite hold, tell less than their number. Null where the parameters cannot be told apart.
 */
function fitted(since: number[], y: number[], u: number[], tauS: number): Scaled | null {
  const { start, change } = lineFor(since, y, u, tauS)
  const parameters = [start, change, Math.log(tauS)]
  const f = law(parameters)
  const residuals = y.map((v, i) => v - f(since[i]!))
  const slopes = fitLinear({
    columns: [
      since.map(t => -Math.expm1(-t / tauS)), since.map(t => -change * t / tauS * Math.exp(-t / tauS)),
    ],
    y: residuals, u,
  })
  if (!slopes.ok) return null
  const r = residuals.map((v, i) => v / u[i]!)
  const squares = r.reduce((sum, v) => sum + v * v, 0)
  const products = r.reduce((sum, v, i) => i === 0 ? 0 : sum + v * r[i - 1]!, 0)
  const n = y.length
  const alike = squares > 0 ? Math.min(0.9, Math.max(0, (n * products / squares + 3) / (n - 5))) : 0
  const isAlike = alike > 2 / Math.sqrt(n)
  const inflation = Math.max(1, squares / slopes.dof) * (isAlike ? (1 + alike) / (1 - alike) : 1)
  return {
    parameters, covariance: slopes.covariance.map(row => row.map(v => v * inflation)),
    scatter: Math.sqrt(squares / slopes.dof), dof: slopes.dof,
  }
}

function refuseFit({ parameters, covariance }: Scaled, since: number[]): ApproachRefusal | undefined {
  const [, change, logTau] = parameters
  const tauS = Math.exp(logTau!)
  const steps = since.slice(1).map((t, i) => t - since[i]!)
  if (!(tauS >= stepsLeast * median(steps))) return 'time constant too short'
  if (!(Math.abs(change!) >= 3 * Math.sqrt(covariance[1]![1]!))) {
    return tauS > since[since.length - 1]! ? 'record too short' : 'no change'
  }
  if (!(tauS <= spansMost * since[since.length - 1]!)) return 'record too short'
  return Math.sqrt(covariance[2]![2]!) <= tauShareMost ? undefined : 'time constant unknown'
}

function resultOf(
  { parameters, covariance, scatter, dof }: Scaled, fromS: number, lastS: number,
): ApproachFit {
  const estimate = (of: (p: number[]) => number): Estimate => {
    const { values, u } = propagateCovariance([of], parameters, covariance)
    return { value: values[0]!, u: u[0]! }
  }
  return {
    ok: true, fromS, scatter, dof,
    start: estimate(p => p[0]!), change: estimate(p => p[1]!), end: estimate(p => p[0]! + p[1]!),
    tauS: estimate(p => Math.exp(p[2]!)),
    remaining: estimate(p => p[1]! * Math.exp(-lastS / Math.exp(p[2]!))),
    at: tS => estimate(p => law(p)(tS - fromS)),
  }
}

/** Starts that are tried, as shares of the record, until one time constant is enough. */
const startShares = [0, 0.1, 0.2, 0.35, 0.5]
/** Residuals past this share of chi-squared show another law than that of the readings (common practice). */
const chi2Share = 0.99

/**
 * Fits from the earliest start from which one time constant explains the readings: what is heated has
 * several, and the short ones are over first. Refuses as `fitApproach` does, or with 'no window fits'.
 */
export function fitLateApproach(series: Series): ApproachResult {
  const [tS, y, u] = [series.tS, series.y, series.u].map(values => Float64Array.from(values))
  let reason: ApproachRefusal = 'too few readings'
  for (const share of startShares) {
    const first = Math.floor(share * y!.length)
    const fit = fitApproach({ tS: tS!.subarray(first), y: y!.subarray(first), u: u!.subarray(first) })
    if (fit.ok && chi2Cdf(fit.scatter ** 2 * fit.dof, fit.dof) <= chi2Share) return fit
    if (fit.ok) reason = 'no window fits'
    else if (reason !== 'no window fits') reason = fit.reason
  }
  return { ok: false, reason }
}

function refuse({ tS, y, u }: Series): ApproachRefusal | undefined {
  assertSameLength(tS, y, 'tS and y')
  assertSameLength(u, y, 'u and y')
  if (y.length < fewest) return 'too few readings'
  if (!allFinite(tS) || !allFinite(y) || !allPositive(u)) return 'not a number'
  return isAscending(tS) ? undefined : 'times not rising'
}
