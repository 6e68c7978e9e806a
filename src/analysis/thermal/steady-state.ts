/**
 * Is a temperature steady? Five published criteria, none of whose standards was read: each is told by what it
 * does, and by where it was read of. They stop at very different distances from the end, so a record says
 * which one it went by, and what was still to come.
 */
import { assert } from '../../base/assert.ts'
import { fitLinear } from '../linear-fit.ts'
import type { Series } from '../trend.ts'

export interface SteadyAnswer {
  verdict: 'steady' | 'not yet' | 'cannot tell'
  /**
   * The largest of the changes that were looked at, K, its standard uncertainty, and the bound it is held to.
   */
  changeK: number
  uK: number
  boundK: number
  /** Time over which that change was seen, s. */
  overS: number
}
/** One temperature's way, as `fitApproach` finds it. */
export interface WarmUp { changeK: number; tauS: number }

export interface SteadyCriterion {
  readonly name: SteadyName
  readonly words: string
  readonly source: string
  /** Readings in °C with the random part of their u; judged at the last of them. `limitC`: of that place. */
  judge(readings: Series, limitC?: number): SteadyAnswer
  /** When a warm-up that began at 0 s will first be called steady. */
  expectedS(warmUp: WarmUp): number
}
export type SteadyName =
  'three-in-thirty' | 'two-an-hour-twice' | 'two-in-an-hour' | 'one-in-fifteen' | 'three-within-one'

/** A change that must stay within a bound over a time; `agoS` before the last reading it ends. */
interface Span { boundK: number; overS: number; agoS?: number }

const minute = 60
/** Intervals of half an hour: our choice, the quotation does not say how long they are. */
const halfHour: Span = { boundK: 1, overS: 30 * minute }
const halfHourTwice: readonly Span[] = [halfHour, { ...halfHour, agoS: 30 * minute }]
const threeInThirty: Span = { boundK: 3, overS: 30 * minute }
const oneInFive: Span = { boundK: 1, overS: 5 * minute }
/** So far below its limit a place may be judged by the shorter span. */
const clearShare = 0.1

export const steadyCriteria: Readonly<Record<SteadyName, SteadyCriterion>> = {
  'three-in-thirty': {
    name: 'three-in-thirty',
    words: 'no more than 3 K in 30 min, or 1 K in 5 min where at least 10 % below its limit',
    source: 'IEC 62368-1, second hand',
    judge: (readings, limitC) => {
      const long = judgeSpans(readings, [threeInThirty])
      if (long.verdict === 'steady' || limitC === undefined) return long
      const last = readings.y[readings.y.length - 1]!
      const short = last <= limitC - clearShare * Math.abs(limitC) ? judgeSpans(readings, [oneInFive]) : long
      return short.verdict === 'steady' ? short : long
    },
    expectedS: warmUp => spanFromS(warmUp, threeInThirty) + threeInThirty.overS,
  },
  'two-an-hour-twice': {
    name: 'two-an-hour-twice',
    words: 'no more than 2 K an hour over two half hours, one after the other',
    source: 'IEC 60034-1, second hand',
    judge: readings => judgeSpans(readings, halfHourTwice),
    expectedS: warmUp => spanFromS(warmUp, halfHour) + 2 * halfHour.overS,
  },
  'two-in-an-hour': spanCriterion(
    'two-in-an-hour', 'no more than 2 K in an hour', 'a decision on IEC 61010-1, second hand',
    { boundK: 2, overS: 60 * minute }),
  'one-in-fifteen': spanCriterion(
    'one-in-fifteen', 'no more than 1 K in 15 min', 'IEC 60335-2-6, second hand',
    { boundK: 1, overS: 15 * minute }),
  'three-within-one': {
    name: 'three-within-one',
    words: 'three readings 5 min apart, whichever two of them within 1 K',
    source: 'IEC 61810-7, second hand',
    judge: readings => judgeSpans(readings, [
      oneInFive, { ...oneInFive, agoS: 5 * minute }, { boundK: 1, overS: 10 * minute },
    ]),
    expectedS: warmUp => spanFromS(warmUp, { boundK: 1, overS: 10 * minute }) + 10 * minute,
  },
}

/** For slow iron and heat sinks: the others stop several kelvin short of the end (reference). */
export const usualCriterion: SteadyName = 'two-an-hour-twice'

function spanCriterion(name: SteadyName, words: string, source: string, span: Span): SteadyCriterion {
  return {
    name, words, source, judge: readings => judgeSpans(readings, [span]),
    expectedS: warmUp => spanFromS(warmUp, span) + span.overS,
  }
}

/** When the span begins over which a warm-up moves by no more than its bound; 0 where it never moves more. */
export function spanFromS(
  { changeK, tauS }: WarmUp, { boundK, overS }: { boundK: number; overS: number },
): number {
  assert(tauS > 0, `a time constant is above 0, got ${tauS}`)
  return Math.max(0, tauS * Math.log(Math.abs(changeK) * -Math.expm1(-overS / tauS) / boundK))
}

/** When the slope of a warm-up has come down to `kPerH`, K an hour; 0 where it is never steeper. */
export function slopeFallsToS({ changeK, tauS }: WarmUp, kPerH: number): number {
  assert(tauS > 0 && kPerH > 0, 'a time constant and a slope are above 0')
  return Math.max(0, tauS * Math.log(Math.abs(changeK) / tauS / (kPerH / 3600)))
}

/** What a warm-up still has to go at `atS`, K. */
export const remainingK = ({ changeK, tauS }: WarmUp, atS: number): number => changeK * Math.exp(-atS / tauS)

/** When a warm-up passes a rise over where it began, s; null where it never does. */
export function riseAtS({ changeK, tauS }: WarmUp, riseK: number): number | null {
  if (riseK === 0) return 0
  const left = 1 - riseK / changeK
  return left > 0 && left < 1 ? -tauS * Math.log(left) : null
}

/** One-sided 95 %: what is called steady is so, and what is called moving moves. */
const sure = 1.645

function judgeSpans(readings: Series, spans: readonly Span[]): SteadyAnswer {
  const answers = spans.map(span => judgeSpan(readings, span))
  const worst = (verdict: SteadyAnswer['verdict']) => answers.filter(a => a.verdict === verdict)
    .sort((a, b) => b.changeK / b.boundK - a.changeK / a.boundK)[0]
  return worst('not yet') ?? worst('cannot tell') ?? worst('steady')!
}

function judgeSpan(readings: Series, { boundK, overS, agoS = 0 }: Span): SteadyAnswer {
  const toS = readings.tS[readings.tS.length - 1]! - agoS
  const ends = isCovered(readings, toS - overS, toS)
    ? [valueNear(readings, toS - overS, overS), valueNear(readings, toS, overS)] : []
  const [from, to] = ends
  if (!from || !to) return { verdict: 'cannot tell', changeK: NaN, uK: NaN, boundK, overS }
  const changeK = Math.abs(to.value - from.value)
  const uK = Math.hypot(from.u, to.u)
  const verdict = changeK + sure * uK <= boundK ? 'steady'
    : changeK - sure * uK > boundK ? 'not yet' : 'cannot tell'
  return { verdict, changeK, uK, boundK, overS }
}

/** Between readings at most this share of a span may pass: what happens in between is not known. */
const gapShare = 0.25

function isCovered({ tS, y, u }: Series, fromS: number, toS: number): boolean {
  const n = tS.length
  if (n < 2 || !(tS[0]! <= fromS)) return false
  let first = n - 1
  while (first > 0 && tS[first]! > fromS) first--
  for (let i = first; i < n; i++) {
    if (!Number.isFinite(y[i]) || !(u[i]! > 0)) return false
    if (i > first && tS[i - 1]! <= toS && tS[i]! - tS[i - 1]! > gapShare * (toS - fromS)) return false
  }
  return true
}

/**
 * Readings so far around an instant, as a share of the span and at most, make its value: a line bends little
 * there.
 */
const nearShare = 0.1
const nearMostS = minute
const fewestForLine = 4

/** Value at an instant: a line through the readings around it, or what lies between the two next to it. */
function valueNear({ tS, y, u }: Series, atS: number, overS: number): { value: number; u: number } {
  const near: number[] = []
  const reachS = Math.min(nearMostS, nearShare * overS)
  for (let i = 0; i < tS.length; i++) if (Math.abs(tS[i]! - atS) <= reachS) near.push(i)
  const line = near.length >= fewestForLine && fitLinear({
    columns: [near.map(i => tS[i]! - atS)], y: near.map(i => y[i]!), u: near.map(i => u[i]!),
  })
  if (line && line.ok) {
    return { value: line.coefficients[0]!, u: line.standardErrors[0]! * Math.max(1, line.residualSd) }
  }
  let after = 0
  while (after < tS.length - 1 && tS[after]! < atS) after++
  const before = Math.max(0, after - 1)
  const share = after === before ? 1 : (atS - tS[before]!) / (tS[after]! - tS[before]!)
  const value = y[before]! + share * (y[after]! - y[before]!)
  return { value, u: Math.hypot((1 - share) * u[before]!, share * u[after]!) }
}
