/**
 * The decay of a leakage current: I(t) = A·(t/t0)^-n + floor, and, where the charging of the part is still
 * seen, + charging·exp(-t/tau) with tau known from R and C. Robust: single bad readings are weighted down
 * (Tukey's bisquare).
 */
import { assert } from '../base/assert.ts'
import { chi2Cdf } from './distributions.ts'
import { allFinite, allPositive, assertSameLength, isAscending } from './inputs.ts'
import { fitLinear } from './linear-fit.ts'
import { type Model, type NonlinearFit, fitNonlinear } from './nonlinear-fit.ts'
import { median, robustSd } from './statistics.ts'

export interface CurrentSeries {
  /** Seconds, rising strictly. */
  tS: ArrayLike<number>
  /** Current into the part, in A. */
  iA: ArrayLike<number>
  /** Standard uncertainty of the random part of each reading, in A, above 0. */
  uA: ArrayLike<number>
}

export interface DecayOptions {
  /** Time in s at which A is the power term; the geometric middle of the readings by default. */
  referenceS?: number
  /** Fits a constant beneath the decay; true by default. */
  floor?: boolean
  /** Fits a charging term of this time constant, in s. */
  chargingTauS?: number
}

export interface Estimate { value: number; u: number }

export interface DecayFit {
  ok: true
  referenceS: number
  /** A in ampere, n a pure number, floor and charging in ampere (absent ones are undefined). */
  amplitudeA: Estimate
  exponent: Estimate
  floorA?: Estimate
  chargingA?: Estimate
  /** In the order amplitude, exponent, floor, charging, without those absent. */
  covariance: number[][]
  /**
   * Scatter of the residuals in units of the stated u (1: as stated); the covariance includes it when above
   * 1.
   */
  scatter: number
  /** Indices of readings that were given no weight. */
  outliers: number[]
  /** Current at `tS` in A and the u of the law (no reading noise). Beyond the data it assumes the law. */
  predict(tS: number): Estimate
  /** When power term and floor come down to `limitA`, in s; undefined when the floor is not below it. */
  timeToReach(limitA: number): Estimate | undefined
}

export type DecayRefusal =
  | 'too few readings' | 'not a number' | 'times not rising' | 'span too short'
  | 'no decay' | 'exponent unknown' | 'not converged' | 'no window fits'

export type DecayResult = DecayFit | { ok: false; reason: DecayRefusal }

/** Last over first time below this cannot tell a power law from a line. */
const leastSpanRatio = 3
const exponentRange = [0.05, 3] as const
const passes = 8

/**
 * Fits the decay to readings at irregular times `tS` > 0 since voltage was applied. Refuses, with the reason,
 * when the data cannot carry it: fewer than 3 readings more than parameters (6 at least), a span under 3:1,
 * an amplitude below three times its u, an exponent less certain than half its value. Asserts equal lengths,
 * t > 0, uA > 0.
 */
export function fitDecay(series: CurrentSeries, options: DecayOptions = {}): DecayResult {
  const { floor = true, chargingTauS } = options
  const { tS, iA, uA } = series
  const count = 2 + (floor ? 1 : 0) + (chargingTauS === undefined ? 0 : 1)
  const reason = refuse(series, count)
  if (reason) return { ok: false, reason }
  const referenceS = options.referenceS ?? Math.sqrt(tS[0]! * tS[tS.length - 1]!)
  const law = { referenceS, floor, chargingTauS }
  const start = searchStart({ tS, iA: medianFiltered(iA), uA }, law)
  if (!start) return { ok: false, reason: 'not converged' }
  const found = reweighted(series, law, start)
  if (!found) return { ok: false, reason: 'not converged' }
  const { fit } = found
  const [amplitude, exponent] = fit.parameters as [number, number]
  if (!(amplitude > 3 * fit.standardErrors[0]!)) return { ok: false, reason: 'no decay' }
  const isKnown = !fit.atBound && fit.standardErrors[1]! < exponent / 2
  if (!isKnown) return { ok: false, reason: 'exponent unknown' }
  return result(law, found)
}

/** Part of a series that one law explains; `misfit` is the largest residual in it, as a share of the law. */
export interface DecayWindow { fromS: number; toS: number; misfit: number }

/**
 * How well a power law can be asked to hold, as a share of the current: 1 % standard deviation (our choice).
 */
const lawShare = 0.01
/**
 * Residuals beyond this share of chi-squared show another law than that of the readings (common practice, 95
 * %).
 */
const chi2Share = 0.95
const windowReadingsMin = 12
/** Each try begins this much later than the one before. */
const laterBy = 1.5
/** Of this many first readings one may be bad; more of them are the law missing its beginning. */
const firstReadings = 4

/**
 * Fits the decay from the earliest start from which the law holds to within the readings' u and 1 %: it
 * misses the first minutes at voltage, when forming and absorption still go on. Starts lie steps of half
 * apart, as long as 12 points and a span of 3:1 are left; the earliest is found by halving. Readings that lie
 * close together on a logarithmic time axis become one point, their median. The covariance holds the 1 % too.
 * Refuses as `fitDecay` does, or with 'no window fits'.
 */
export function fitDecayInWindow(
  series: CurrentSeries, options: DecayOptions = {},
): { fit: DecayFit; window: DecayWindow } | { fit: { ok: false; reason: DecayRefusal }; window: null } {
  const { tS, iA, uA } = slots(series)
  const starts = windowStarts(tS)
  let best: { fit: DecayFit; window: DecayWindow } | undefined
  let reason: DecayRefusal = 'too few readings'
  for (let low = 0, high = starts.length - 1; low <= high;) {
    const middle = best === undefined && low === 0 && high === starts.length - 1 ? 0 : (low + high) >> 1
    const first = starts[middle]!
    const part = { tS: tS.slice(first), iA: iA.slice(first), uA: uA.slice(first) }
    const fit = fitDecay(part, options)
    const misfit = fit.ok ? misfitOf(fit, part) : null
    if (fit.ok && misfit !== null) best = {
      fit, window: { fromS: part.tS[0]!, toS: series.tS[series.tS.length - 1]!, misfit }
    }
    // A law that fits may do so earlier; readings that show no decay show none when there are fewer of them.
    if (misfit === null && (fit.ok || fit.reason === 'not converged')) {
      low = middle + 1; reason = 'no window fits'
    }
    else { high = middle - 1; if (!fit.ok && reason !== 'no window fits') reason = fit.reason }
  }
  return best ?? { fit: { ok: false, reason }, window: null }
}

const slotsPerDecade = 20

/**
 * At most `slotsPerDecade` points in each factor of ten of time. A median of n has 1.25 times the u of a mean
 * of n.
 */
function slots({ tS, iA, uA }: CurrentSeries): { tS: number[]; iA: number[]; uA: number[] } {
  const result: { tS: number[]; iA: number[]; uA: number[] } = { tS: [], iA: [], uA: [] }
  for (let from = 0; from < tS.length;) {
    const slot = Math.floor(slotsPerDecade * Math.log10(tS[from]!))
    let to = from + 1
    while (to < tS.length && Math.floor(slotsPerDecade * Math.log10(tS[to]!)) === slot) to++
    const n = to - from
    const middle = (values: ArrayLike<number>): number => median(
      Array.from({ length: n }, (_, i) => values[from + i]!)
    )
    const current = middle(iA)
    result.tS.push(middle(tS))
    result.iA.push(current)
    result.uA.push(Math.hypot(middle(uA) * (n > 2 ? 1.25 / Math.sqrt(n) : 1), lawShare * current))
    from = to
  }
  return result
}

/** Indices to begin at: the first, then each time `laterBy` later, while enough is left. */
function windowStarts(tS: readonly number[]): number[] {
  if (tS.length === 0) return []
  const starts = [0]
  for (let i = 1; i <= tS.length - windowReadingsMin && tS[tS.length - 1]! / tS[i]! >= leastSpanRatio; i++) {
    if (tS[i]! >= laterBy * tS[starts[starts.length - 1]!]!) starts.push(i)
  }
  return starts
}

/** Largest residual as a share of the law; null where the residuals show that the law is another one. */
function misfitOf(fit: DecayFit, { tS, iA, uA }: CurrentSeries): number | null {
  const out = new Set(fit.outliers)
  if (fit.outliers.filter(i => i < firstReadings).length > 1) return null
  let chi2 = 0
  let misfit = 0
  for (let i = 0; i < iA.length; i++) {
    if (out.has(i)) continue
    const law = fit.predict(tS[i]!).value
    chi2 += ((iA[i]! - law) / uA[i]!) ** 2
    misfit = Math.max(misfit, Math.abs(iA[i]! / law - 1))
  }
  const dof = iA.length - out.size - fit.covariance.length
  return dof > 0 && chi2Cdf(chi2, dof) <= chi2Share ? misfit : null
}

interface Law { referenceS: number; floor: boolean; chargingTauS: number | undefined }

/** Parameters: amplitude, exponent, then floor and charging as present. */
const modelOf = ({ referenceS, floor, chargingTauS }: Law): Model => p => t => {
  const power = p[0]! * (t / referenceS) ** -p[1]!
  const charging = chargingTauS === undefined ? 0 : p[floor ? 3 : 2]! * Math.exp(-t / chargingTauS)
  return power + (floor ? p[2]! : 0) + charging
}

function refuse({ tS, iA, uA }: CurrentSeries, count: number): DecayRefusal | undefined {
  assertSameLength(tS, iA, 'tS and iA')
  assertSameLength(uA, iA, 'uA and iA')
  if (iA.length < Math.max(6, count + 3)) return 'too few readings'
  if (!allFinite(iA) || !allFinite(uA) || !allFinite(tS)) return 'not a number'
  if (!isAscending(tS)) return 'times not rising'
  assert(tS[0]! > 0, 'a decay needs times since voltage was applied, above 0')
  assert(allPositive(uA), 'uA must be above 0')
  return tS[tS.length - 1]! / tS[0]! < leastSpanRatio ? 'span too short' : undefined
}

/**
 * Running median of five: the start must not follow a single bad reading. The ends keep the median of three.
 */
function medianFiltered(iA: ArrayLike<number>): Float64Array {
  const all = Float64Array.from(iA)
  return all.map((_, i) => {
    const reach = Math.min(2, Math.max(1, Math.min(i, all.length - 1 - i)))
    return median(all.slice(Math.max(0, i - reach), i + reach + 1))
  })
}

/** For a fixed exponent the law is linear: try a row of exponents and keep the best. */
function searchStart({ tS, iA, uA }: CurrentSeries, law: Law): number[] | undefined {
  const { referenceS, floor, chargingTauS } = law
  let best: { parameters: number[]; chi2: number } | undefined
  for (let exponent = 0.1; exponent <= 2.5; exponent += 0.1) {
    const columns = [Float64Array.from(tS, t => (t / referenceS) ** -exponent)]
    if (chargingTauS !== undefined) columns.push(Float64Array.from(tS, t => Math.exp(-t / chargingTauS)))
    const fit = fitLinear({ columns, y: iA, u: uA, intercept: floor })
    if (!fit.ok) continue
    const [first, second, third] = fit.coefficients as [number, number, number]
    const tail = chargingTauS === undefined ? [] : [floor ? third : second]
    const parameters = floor ? [second, exponent, first, ...tail] : [first, exponent, ...tail]
    const chi2 = fit.residualSd ** 2
    if (!best || chi2 < best.chi2) best = { parameters, chi2 }
  }
  return best?.parameters
}

interface Reweighted { fit: NonlinearFit; scatter: number; outliers: number[] }

/** Fits, weighs each reading by its residual, and fits again. */
function reweighted({ tS, iA, uA }: CurrentSeries, law: Law, start: number[]): Reweighted | undefined {
  const model = modelOf(law)
  const [low, high] = exponentRange
  const lower = start.map((_, j) => (j === 1 ? low : -Infinity))
  const upper = start.map((_, j) => (j === 1 ? high : Infinity))
  let parameters = start
  let last: Reweighted | undefined
  for (let pass = 0; pass < passes; pass++) {
    const f = model(parameters)
    const residuals = Float64Array.from(iA, (v, i) => (v - f(tS[i]!)) / uA[i]!)
    // the first residuals are of a start, not of a fit: believe their own scatter even when it is large
    const taken = Math.sqrt(iA.length / (iA.length - parameters.length))
    const scatter = Math.max(1, robustSd(residuals) * taken)
    const weights = residuals.map(r => bisquare(r / scatter))
    const kept = Array.from(weights.keys()).filter(i => weights[i]! > 0)
    if (kept.length < parameters.length + 2) return undefined
    const fit = fitNonlinear({
      model, x: kept.map(i => tS[i]!), y: kept.map(i => iA[i]!),
      u: kept.map(i => uA[i]! * scatter / Math.sqrt(weights[i]!)), start: parameters,
      lower, upper, startIsNear: true,
    })
    if (!fit.ok) return undefined
    const { standardErrors } = fit
    const moved = fit.parameters.map((v, j) => Math.abs(v - parameters[j]!) / standardErrors[j]!)
    parameters = fit.parameters
    last = { fit, scatter, outliers: Array.from(weights.keys()).filter(i => weights[i] === 0) }
    if (Math.max(...moved) < 1e-3) break
  }
  return last
}

/** Tukey's weight: 1 at no residual, 0 from 4.685 sigma (95 % efficient for normal noise). */
function bisquare(residual: number): number {
  const share = residual / 4.685
  return Math.abs(share) >= 1 ? 0 : (1 - share * share) ** 2
}

function result(law: Law, { fit, scatter, outliers }: Reweighted): DecayFit {
  const { parameters, standardErrors, covariance } = fit
  const model = modelOf(law)
  const at = (j: number): Estimate => ({ value: parameters[j]!, u: standardErrors[j]! })
  const withU = (f: (p: number[]) => number): Estimate => {
    const slopes = parameters.map((v, j) => {
      const h = 1e-4 * standardErrors[j]!
      const moved = (k: number): number => f(parameters.map((p, i) => (i === j ? v + k * h : p)))
      return (moved(1) - moved(-1)) / (2 * h)
    })
    const along = slopes.map((_, i) => slopes.reduce((s, b, j) => s + b * covariance[i]![j]!, 0))
    const variance = slopes.reduce((s, a, i) => s + a * along[i]!, 0)
    return { value: f(parameters), u: Math.sqrt(Math.max(0, variance)) }
  }
  return {
    ok: true, referenceS: law.referenceS, amplitudeA: at(0), exponent: at(1), covariance, scatter, outliers,
    ...(law.floor && { floorA: at(2) }),
    ...(law.chargingTauS !== undefined && { chargingA: at(law.floor ? 3 : 2) }),
    predict(tS: number): Estimate {
      assert(tS > 0, 'a decay is defined for times above 0')
      return withU(p => model(p)(tS))
    },
    timeToReach(limitA: number): Estimate | undefined {
      const room = (p: number[]): number => limitA - (law.floor ? p[2]! : 0)
      if (!(room(parameters) > 0)) return undefined
      return withU(p => law.referenceS * (p[0]! / room(p)) ** (1 / p[1]!))
    },
  }
}
