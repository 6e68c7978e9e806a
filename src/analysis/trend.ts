/**
 * Is a reading settled, and is a leakage current still falling? Both are decided by test, never by eye: what
 * the data cannot carry is `cannot-tell`. O(n); meant for windows of 5 to 200 readings.
 */
import { assert } from '../base/assert.ts'
import { tCdf } from './distributions.ts'
import { allFinite, allPositive, assertAscending, assertSameLength } from './inputs.ts'
import { type WeightedLine, weightedLine } from './weighted-line.ts'

export interface Series {
  /** Seconds, rising strictly. */
  tS: ArrayLike<number>
  y: ArrayLike<number>
  /**
   * Standard uncertainty of the random part of each y (noise, resolution), above 0. What is common to all
   * readings, such as the meter's gain, does not belong here: it cannot make a slope.
   */
  u: ArrayLike<number>
}

/** How much slope still counts as none: per second in the unit of y, or a share of the level. */
export type TrendBand =
  | { absoluteBandPerS: number }
  /**
   * A change of `relativeBand` times the level in `overS` seconds; the length of the window when not given.
   */
  | { relativeBand: number; overS?: number }

export interface TrendOptions {
  /** Risk of calling something settled that moves at the band's edge; 0.05. */
  settledRisk?: number
  /** Risk, for each direction, of calling a level reading rising or falling; 0.005. */
  directionRisk?: number
}

export interface Trend {
  verdict: 'settled' | 'falling' | 'rising' | 'cannot-tell'
  slopePerS: number
  uSlopePerS: number
  /** Level at the middle of the window. */
  level: number
  bandPerS: number
  /** p value of the equivalence test (two one-sided tests): small means settled. */
  pSettled: number
  reason?: TrendRefusal
}
export type TrendRefusal = 'too few readings' | 'not a number' | 'within noise of zero'

const fewestReadings = 5

/**
 * `settled` when two one-sided tests both show |slope| below the band; else `rising` or `falling` when the
 * slope differs from zero; else `cannot-tell`. NaN or fewer than 5 readings give `cannot-tell` with a reason.
 * Asserts equal lengths, rising times and u > 0.
 *
 * Errors measured on seeded noise (tests/analysis/trend.test.ts), level readings called rising: at most 0.3 %
 * where u is right; where u is ten times too small, 0.5 % for independent noise, and for noise correlated 0.6
 * from one reading to the next 3 % with 15 readings, 1.7 % with 50 and 0.7 % with 200.
 */
export function classifyTrend(series: Series, band: TrendBand, options: TrendOptions = {}): Trend {
  const { settledRisk = 0.05, directionRisk = 0.005 } = options
  const refusal = refuse(series)
  if (refusal) return unknownTrend(refusal)
  const line = weightedLine(series.tS, series.y, series.u)
  const bandPerS = bandOf(band, line, series)
  const { slope, uSlope, dof } = line
  const pSettled = 1 - tCdf((bandPerS - Math.abs(slope)) / uSlope, dof)
  const pDirection = 1 - tCdf(Math.abs(slope) / uSlope, dof)
  const moving = slope > 0 ? 'rising' : 'falling'
  const verdict = pSettled <= settledRisk ? 'settled' : pDirection <= directionRisk ? moving : 'cannot-tell'
  return { verdict, slopePerS: slope, uSlopePerS: uSlope, level: line.level, bandPerS, pSettled }
}

export interface ImprovingQuestion {
  /** The fall that would still be worth waiting for, as a share of the present current (0.1 is 10 %) … */
  materialFall: number
  /** … within this many seconds after the last reading. */
  overS: number
  /**
   * log-time: a power of the time since voltage (tS > 0); linear-time: exponential; auto: what fits better.
   */
  axis?: 'log-time' | 'linear-time' | 'auto'
  /** Risk of either call; 0.05. */
  risk?: number
}

export interface Improving {
  verdict: 'yes' | 'no' | 'cannot-tell'
  /** p value of "not falling materially": small means yes, close to 1 means no. */
  p: number
  axis: 'log-time' | 'linear-time'
  /** Slope of ln I against ln t (a pure number) or against t (per second), and its standard uncertainty. */
  slope: number
  uSlope: number
  /**
   * Share by which the current will fall in the next `overS`, if it goes on like this; negative when it
   * rises.
   */
  forecastFall: number
  reason?: TrendRefusal
}

/**
 * Is a leakage current still falling materially? A line through ln I, its slope tested against the slope that
 * would bring `materialFall` in the next `overS` seconds. Currents below three times their u cannot be told
 * from zero and give `cannot-tell`, as do NaN and fewer than 5 readings. `y` and `u` in one unit of current.
 */
export function improving(series: Series, question: ImprovingQuestion): Improving {
  const { materialFall, overS, axis: wanted = 'auto', risk = 0.05 } = question
  assert(materialFall > 0 && materialFall < 1, `a material fall lies between 0 and 1, got ${materialFall}`)
  assert(overS > 0, 'the time to wait must be above 0')
  const refusal = refuse(series) ?? nearZero(series)
  if (refusal) return { ...notImproving, reason: refusal }
  const { line, axis } = fitLog(series, wanted)
  const last = series.tS[series.tS.length - 1]!
  const reach = axis === 'log-time' ? Math.log1p(overS / last) : overS
  const needed = Math.log1p(-materialFall) / reach
  const p = tCdf((line.slope - needed) / line.uSlope, line.dof)
  return {
    verdict: p <= risk ? 'yes' : p >= 1 - risk ? 'no' : 'cannot-tell',
    p, axis, slope: line.slope, uSlope: line.uSlope, forecastFall: -Math.expm1(line.slope * reach),
  }
}

const notImproving = {
  verdict: 'cannot-tell', p: NaN, axis: 'log-time', slope: NaN, uSlope: NaN, forecastFall: NaN,
} as const

function fitLog({ tS, y, u }: Series, wanted: 'log-time' | 'linear-time' | 'auto') {
  const logY = Float64Array.from(y, Math.log)
  const uLog = Float64Array.from(u, (v, i) => v / y[i]!)
  const logTime = (): WeightedLine => weightedLine(Float64Array.from(tS, Math.log), logY, uLog)
  assert(wanted !== 'log-time' || tS[0]! > 0, 'the log of time needs times above 0')
  if (wanted === 'log-time') return { line: logTime(), axis: 'log-time' as const }
  const linear = { line: weightedLine(tS, logY, uLog), axis: 'linear-time' as const }
  if (wanted === 'linear-time' || tS[0]! <= 0) return linear
  const log = { line: logTime(), axis: 'log-time' as const }
  return log.line.chi2 <= linear.line.chi2 ? log : linear
}

function refuse({ tS, y, u }: Series): TrendRefusal | undefined {
  assertSameLength(tS, y, 'tS and y')
  assertSameLength(u, y, 'u and y')
  if (y.length < fewestReadings) return 'too few readings'
  if (!allFinite(y) || !allFinite(u)) return 'not a number'
  assertAscending(tS)
  assert(allPositive(u), 'u must be above 0')
  return undefined
}

function nearZero({ y, u }: Series): TrendRefusal | undefined {
  for (let i = 0; i < y.length; i++) if (!(y[i]! > 3 * u[i]!)) return 'within noise of zero'
  return undefined
}

function bandOf(band: TrendBand, line: WeightedLine, { tS }: Series): number {
  if ('absoluteBandPerS' in band) {
    assert(band.absoluteBandPerS > 0, 'a band must be above 0')
    return band.absoluteBandPerS
  }
  const overS = band.overS ?? tS[tS.length - 1]! - tS[0]!
  assert(band.relativeBand > 0 && overS > 0, 'a band must be above 0')
  return band.relativeBand * Math.abs(line.level) / overS
}

function unknownTrend(reason: TrendRefusal): Trend {
  const unknown = { slopePerS: NaN, uSlopePerS: NaN, level: NaN, bandPerS: NaN, pSettled: NaN }
  return { verdict: 'cannot-tell', ...unknown, reason }
}
