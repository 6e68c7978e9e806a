/**
 * Gauge repeatability and reproducibility: how much of the spread of readings is the gauge, how much the
 * parts. Parts × appraisers × trials, all crossed. Formulas: common practice for such studies, read through
 * secondary sources; constants of the range method are integrated, not taken from a table.
 */
import { assert } from '../../base/assert.ts'
import { fUpperTail } from '../distributions.ts'
import { assertNumbers } from '../inputs.ts'
import { mean, sum } from '../statistics.ts'
import { d2Star, rangeConstants } from './range-constants.ts'

/** values[appraiser][part][trial], in one unit. */
export type GaugeReadings = readonly (readonly ArrayLike<number>[])[]

export interface GaugeSpread {
  /** Standard deviations in the unit of the readings: repeatability (equipment variation). */
  repeatability: number
  /** Appraisers, and their interaction with parts where it is not pooled. */
  reproducibility: number
  /** Both of these. */
  gauge: number
  parts: number
  total: number
  /** gauge/total. */
  gaugeShare: number
  /** Kinds of part the gauge can tell apart: 1.41·parts/gauge, not rounded down. */
  distinct: number
}

export interface GaugeAnova extends GaugeSpread {
  /** Mean squares, and the test of the interaction. */
  ms: { appraisers: number; parts: number; interaction: number; error: number }
  interactionF: number
  interactionP: number
  /** True when the interaction was not significant and went into the error. */
  pooled: boolean
}

/**
 * Study by analysis of variance. The interaction is pooled with the error when its p is above `poolAbove`
 * (0.05; 0 pools always, 1 never). Variances that come out below 0 are 0. Asserts two appraisers, two parts,
 * two trials, all of one shape and finite.
 */
export function gaugeAnova(values: GaugeReadings, poolAbove = 0.05): GaugeAnova {
  const shape = shapeOf(values)
  const ms = meanSquares(values)
  const dof = gaugeDof(shape)
  const interactionF = ms.interaction / ms.error
  const interactionP = Number.isNaN(interactionF) ? 1 : fUpperTail(interactionF, dof.interaction, dof.error)
  const pooled = interactionP > poolAbove
  return { ...spreadOf(ms, shape, pooled), ms, interactionF, interactionP, pooled }
}

export interface GaugeShape { appraisers: number; parts: number; trials: number }

/** Degrees of freedom of the mean squares. */
export const gaugeDof = ({ appraisers: a, parts: p, trials: r }: GaugeShape): GaugeAnova['ms'] =>
  ({ appraisers: a - 1, parts: p - 1, interaction: (a - 1) * (p - 1), error: a * p * (r - 1) })

/** Spreads from mean squares; `pooled`: the interaction goes into the error. */
export function spreadOf(ms: GaugeAnova['ms'], shape: GaugeShape, pooled: boolean): GaugeSpread {
  const { appraisers: a, parts: p, trials: r } = shape
  const dof = gaugeDof(shape)
  const pooledMs = (ms.interaction * dof.interaction + ms.error * dof.error) / (dof.interaction + dof.error)
  const error = pooled ? pooledMs : ms.error
  const against = pooled ? error : ms.interaction
  const interaction = pooled ? 0 : Math.max(0, (ms.interaction - ms.error) / r)
  const appraisers = Math.max(0, (ms.appraisers - against) / (p * r))
  const parts = Math.max(0, (ms.parts - against) / (a * r))
  return spread(error, appraisers + interaction, parts)
}

/**
 * Study by ranges: quicker, without the interaction. Asserts as `gaugeAnova` does.
 */
export function gaugeRange(values: GaugeReadings): GaugeSpread {
  const { appraisers: a, parts: p, trials: r } = shapeOf(values)
  const rBar = mean(values.flatMap(one => one.map(rangeOf)))
  const repeatability = rBar / rangeConstants(r).d2
  const appraiserMeans = values.map(one => mean(one.map(mean)))
  const partMeans = values[0]!.map((_, i) => mean(values.map(one => mean(one[i]!))))
  const appraiserSpread = rangeOf(appraiserMeans) / d2Star(a, 1)
  const between = Math.max(0, appraiserSpread ** 2 - repeatability ** 2 / (p * r))
  return spread(repeatability ** 2, between, (rangeOf(partMeans) / d2Star(p, 1)) ** 2)
}

function spread(error: number, between: number, parts: number): GaugeSpread {
  const [gauge, total] = [Math.sqrt(error + between), Math.sqrt(error + between + parts)]
  return {
    repeatability: Math.sqrt(error), reproducibility: Math.sqrt(between), gauge,
    parts: Math.sqrt(parts), total,
    gaugeShare: total > 0 ? gauge / total : NaN,
    distinct: gauge > 0 ? 1.41 * Math.sqrt(parts) / gauge : Infinity,
  }
}

const rangeOf = (values: ArrayLike<number>): number =>
  Math.max(...Array.from(values)) - Math.min(...Array.from(values))

function meanSquares(values: GaugeReadings): GaugeAnova['ms'] {
  const { appraisers: a, parts: p, trials: r } = shapeOf(values)
  const cell = values.map(one => one.map(mean))
  const appraiserMean = cell.map(mean)
  const partMean = cell[0]!.map((_, j) => mean(cell.map(one => one[j]!)))
  const grand = mean(appraiserMean)
  const square = (terms: number[]): number => sum(terms.map(t => t * t))
  const interaction = cell.flatMap((one, i) =>
    one.map((m, j) => m - appraiserMean[i]! - partMean[j]! + grand))
  const errors = values.flatMap((one, i) =>
    one.flatMap((trials, j) => Array.from(trials, v => v - cell[i]![j]!)))
  return {
    appraisers: p * r * square(appraiserMean.map(m => m - grand)) / (a - 1),
    parts: a * r * square(partMean.map(m => m - grand)) / (p - 1),
    interaction: r * square(interaction) / ((a - 1) * (p - 1)),
    error: square(errors) / (a * p * (r - 1)),
  }
}

/** Asserts two of each, all of one shape and finite. */
export function shapeOf(values: GaugeReadings): GaugeShape {
  const [appraisers, parts] = [values.length, values[0]?.length ?? 0]
  const trials = values[0]?.[0]?.length ?? 0
  assert(appraisers >= 2 && parts >= 2 && trials >= 2, 'a gauge study needs two appraisers, parts and trials')
  for (const one of values) {
    assert(one.length === parts, 'each appraiser must have read every part')
    for (const trial of one) {
      assertNumbers(trial, 'trials')
      assert(trial.length === trials, 'each part must have been read as often')
    }
  }
  return { appraisers, parts, trials }
}
