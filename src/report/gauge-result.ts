/** What a study of the gauge comes to: by analysis of variance, with intervals, in words. Pure; SI units. */
import { gaugeIntervals, type Interval } from '../analysis/lots/gauge-intervals.ts'
import { gaugeAnova, type GaugeAnova } from '../analysis/lots/gauge-study.ts'
import { mean, sd } from '../analysis/statistics.ts'
import { BenchError } from '../base/errors.ts'
import { gaugeStudy, readingName, type Found, type GaugeAnswer, type GaugeRequest } from '../schema/gauge.ts'
import { idsOf, partsList } from '../schema/parts-list.ts'
import type { Criterion, RunRecord } from '../schema/run.ts'
import { gaugeWords } from './gauge-words.ts'
import { named, type LotRun } from './lot-parts.ts'

interface Study {
  readonly people: readonly string[]
  readonly parts: readonly string[]
  readonly trials: number
}
type Read = ReadonlyMap<string, ReadonlyMap<string, Criterion>>

/** `runs`: the sessions of one study. REFUSED for a run that is none, and while readings are missing. */
export function gaugeResult(runs: readonly LotRun[], request: GaugeRequest): GaugeAnswer {
  const { study, quantity: asked } = studyOf(runs[0]!.run)
  const read = newestOf(runs)
  const whole = readingsOf(study, read)
  const first = whole[0]!
  const quantity = request.quantity ?? asked ?? [...first.keys()][0]
  const criteria = whole.map(one => one.get(quantity ?? ''))
  if (quantity === undefined || criteria.some(one => one === undefined)) {
    throw new BenchError('REFUSED', 'not every reading of this study has this quantity', {
      expected: [...first.keys()].join(', ') || 'a quantity', got: quantity ?? 'none',
    })
  }
  return resultOf(runs, study, criteria as Criterion[], quantity, request.confidence)
}

function studyOf(run: RunRecord): { study: Study; quantity: string | undefined } {
  const request = run.setup['request'] as { study?: unknown; parts?: unknown } | undefined
  const study = gaugeStudy.safeParse(request?.study)
  const parts = partsList.shape.parts.safeParse(request?.parts)
  if (!study.success || !parts.success) {
    throw new BenchError('REFUSED', `run ${run.id} is no study of the gauge`)
  }
  const { people, trials, quantity } = study.data
  return { study: { people, trials, parts: parts.data.flatMap(idsOf) }, quantity }
}

/** The newest reading of each name that has any quantity: what was taken back or flagged has none. */
function newestOf(runs: readonly LotRun[]): Read {
  const inTime = [...runs].sort((a, b) => a.run.startedWallMs - b.run.startedWallMs)
  return new Map(inTime.flatMap(({ results }) => results.map(({ position, criteria }) =>
    [position, named(criteria)] as const)))
}

/** Person by person, part by part, trial by trial. */
function readingsOf({ people, parts, trials }: Study, read: Read): ReadonlyMap<string, Criterion>[] {
  const names = people.flatMap(person => parts.flatMap(part =>
    Array.from({ length: trials }, (_, i) => readingName(part, person, i + 1))))
  const missing = names.filter(name => (read.get(name)?.size ?? 0) === 0)
  if (missing.length === 0) return names.map(name => read.get(name)!)
  const what = `the study is not whole: ${missing.length} of ${names.length} readings are missing`
  throw new BenchError('REFUSED', what, {
    expected: 'every part by every person as often; the same list and unit go on where they were',
    got: `without ${missing.slice(0, 3).join(', ')}${missing.length > 3 ? ' …' : ''}`,
  })
}

function resultOf(
  runs: readonly LotRun[], { people, parts, trials }: Study, criteria: readonly Criterion[], quantity: string,
  confidence: number,
): GaugeAnswer {
  const readings = people.map((_, i) => parts.map((_part, j) =>
    Array.from({ length: trials }, (_t, k) => criteria[(i * parts.length + j) * trials + k]!.value)))
  const anova = gaugeAnova(readings)
  const intervals = gaugeIntervals(readings, anova, confidence)
  const tolerance = toleranceOf(criteria)
  const answer: Omit<GaugeAnswer, 'says' | 'verdict'> = {
    runs: runs.map(({ run }) => run.id), quantity, unit: criteria[0]!.unit, confidence, trials, readings,
    tolerance,
    people: people.map((person, i) => ({
      person, mean: mean(readings[i]!.flat()), s: Math.sqrt(mean(readings[i]!.map(one => sd(one) ** 2))),
    })),
    parts: parts.map((part, j) => ({ part, mean: mean(readings.flatMap(one => one[j]!)) })),
    repeatability: found(anova.repeatability, intervals.repeatability),
    reproducibility: found(anova.reproducibility, intervals.reproducibility),
    gauge: found(anova.gauge, intervals.gauge), partToPart: found(anova.parts, intervals.parts),
    total: found(anova.total, intervals.total), shareOfTotal: found(anova.gaugeShare, intervals.gaugeShare),
    shareOfTolerance: tolerance === null ? found(NaN, { low: NaN, high: NaN })
      : found(anova.gauge, intervals.gauge, 6 / tolerance),
    distinct: found(anova.distinct, intervals.distinct), interaction: interactionOf(anova),
  }
  return { ...answer, ...gaugeWords(answer) }
}

const number = (value: number): number | null => Number.isFinite(value) ? value : null
const found = (value: number, { low, high }: Interval, factor = 1): Found =>
  ({ value: number(factor * value), low: number(factor * low), high: number(factor * high) })

const interactionOf = ({ interactionF, interactionP, pooled }: GaugeAnova): GaugeAnswer['interaction'] =>
  ({ f: number(interactionF), p: interactionP, pooled })

/** The narrowest, where parts of several values were taken; null where one has not both limits. */
function toleranceOf(criteria: readonly Criterion[]): number | null {
  const widths = criteria.map(({ limitLow, limitHigh }) =>
    limitLow === undefined || limitHigh === undefined ? NaN : limitHigh - limitLow)
  const narrowest = widths.reduce((a, b) => Math.min(a, b))
  return narrowest > 0 ? narrowest : null
}
