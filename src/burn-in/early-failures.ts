/**
 * What hours of burn-in show of failures: a bound at none, and over several units whether failing grows
 * rarer, as it does while early failures are still about. Pure; h.
 */
import { assert } from '../base/assert.ts'
import { formatCount } from '../base/format.ts'
import { chi2Quantile } from '../analysis/distributions.ts'
import {
  fitWeibull, mtbfBounds, weibullShapeInterval, type WeibullFit,
} from '../analysis/lots/reliability.ts'

/** One unit: the hours that counted, and whether it failed at their end. */
export interface UnitHours { readonly hours: number; readonly failed: boolean }

export interface EarlyFailures {
  readonly units: number
  readonly failures: number
  readonly hours: number
  /** At a constant rate, with 95 %: at most so many failures an hour, and at least so many hours between. */
  readonly rateMostPerH: number
  readonly betweenLeastH: number
  /** Null where too few failed. */
  readonly weibull: {
    readonly shape: number; readonly shapeLow: number; readonly shapeHigh: number; readonly scaleH: number
  } | null
  readonly says: string
}

const confidence = 0.95
/** Two carry a fit, and a shape that says nothing; three begin to (our choice). */
const failuresLeast = 3

/** Asserts hours above 0, of one unit at least. */
export function earlyFailures(units: readonly UnitHours[]): EarlyFailures {
  assert(units.length > 0, 'statistics of units need a unit')
  assert(units.every(({ hours }) => hours > 0), 'every unit ran for a while')
  const hours = units.reduce((sum, one) => sum + one.hours, 0)
  const failed = units.filter(one => one.failed).map(one => one.hours)
  const { lower: betweenLeastH } = mtbfBounds(hours, failed.length, 1 - confidence)
  const data = { failures: failed, survivors: units.filter(one => !one.failed).map(one => one.hours) }
  const weibull = canFit(failed, units) ? withInterval(fitWeibull(data), data) : null
  const bound = { rateMostPerH: 1 / betweenLeastH, betweenLeastH }
  const found = { units: units.length, failures: failed.length, hours, ...bound, weibull }
  return { ...found, says: [boundWords(found), weibullWords(found)].join(' ') }
}

/** Failures at one and the same time have no shape. */
const canFit = (failed: readonly number[], units: readonly UnitHours[]): boolean =>
  failed.length >= failuresLeast && failed.some(h => h < Math.max(...units.map(({ hours }) => hours)))

function withInterval(
  { shape, scale }: WeibullFit, data: Parameters<typeof fitWeibull>[0],
): NonNullable<EarlyFailures['weibull']> {
  const { low, high } = weibullShapeInterval(data, chi2Quantile(confidence, 1))
  return { shape, shapeLow: low, shapeHigh: high, scaleH: scale }
}

const few = (value: number): string => Number(value.toPrecision(3)).toString()

type Found = Omit<EarlyFailures, 'says'>

function boundWords({ units, failures, hours, betweenLeastH }: Found): string {
  return `${formatCount(units, 'unit')}, ${few(hours)} h together, ${formatCount(failures, 'failure')}: `
    + `were the rate constant, it is at most one in ${few(betweenLeastH)} h with 95 % confidence.`
}

function weibullWords({ weibull, failures }: Found): string {
  if (weibull === null) {
    return failures < failuresLeast
      ? `Fewer than ${failuresLeast} failures: whether they grow rarer with the hours cannot be told.`
      : 'All failed at one time: whether failures grow rarer with the hours cannot be told.'
  }
  const { shape, shapeLow, shapeHigh } = weibull
  const shown = `Weibull shape ${few(shape)} (95 %: ${few(shapeLow)} to ${few(shapeHigh)})`
  if (shapeHigh < 1) return `${shown}: failing grows rarer with the hours, so burning in takes weak ones out.`
  if (shapeLow > 1) {
    return `${shown}: failing grows more frequent with the hours: that is wear, and more hours add to it.`
  }
  return `${shown}: whether failing grows rarer or more frequent with the hours is not shown.`
}

/**
 * Of one unit: what its hours do and do not show. `failed`: it tripped by its own fault at their end.
 * `failedAtH`: of these hours, when it last did so before; 0 where it never did.
 */
export function unitSays(hours: number, failed: boolean, failedAtH = 0): string {
  if (!(hours > 0)) return 'No time counted: nothing is shown.'
  const mended = 'hours before a repair say nothing of what was replaced.'
  const sinceH = hours - failedAtH
  const before = failedAtH > 0 ? `it failed after ${few(failedAtH)} h of this burn-in` : null
  if (failed) {
    const when = before === null ? `after ${few(hours)} h` : `again after ${few(sinceH)} h, since ${before}`
    return `It failed ${when}. What was found is to be mended and proven; ${mended}`
  }
  if (before === null) return soundSays(hours, '')
  const told = `I${before.slice(1)}; ${mended} `
  if (!(sinceH > 0)) return `${told}No time counted since then: nothing is shown.`
  return told + soundSays(sinceH, 'since then ')
}

function soundSays(hours: number, since: string): string {
  const { lower } = mtbfBounds(hours, 0, 1 - confidence)
  return `One unit ran ${few(hours)} h ${since}under this drive without failing. That shows that what fails `
    + 'within such hours, so warm and so driven, did not fail in this one. Were failures as likely at any '
    + `hour, it bounds them to one in ${few(lower)} h with 95 % confidence, a third of the hours it ran. It `
    + 'does not show that it lasts for years, nor what age, damp, transport, other loads or other mains do, '
    + 'nor anything of another unit.'
}
