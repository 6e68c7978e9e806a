/**
 * Intervals of what a gauge study finds. Each mean square is a chi-square times its own expectation; drawn
 * again and again from that, with the readings' mean squares as they are, the spreads of the study scatter as
 * what is known of them does (generalised intervals, common practice for such studies; from memory).
 */
import { assert } from '../../base/assert.ts'
import { SeededRandom } from '../../base/random.ts'
import {
  gaugeDof, shapeOf, spreadOf, type GaugeAnova, type GaugeReadings, type GaugeSpread,
} from './gauge-study.ts'

export interface Interval { low: number; high: number }
export type GaugeIntervals = Readonly<Record<keyof GaugeSpread, Interval>>

const names =
  ['repeatability', 'reproducibility', 'gauge', 'parts', 'total', 'gaugeShare', 'distinct'] as const

/**
 * Two-sided intervals at `confidence` (0.95) for a study whose `anova` is known. The same for the same seed.
 * Asserts what `gaugeAnova` does, and a confidence between 0 and 1.
 */
export function gaugeIntervals(
  values: GaugeReadings, anova: GaugeAnova, confidence = 0.95, draws = 10_000, seed = 1,
): GaugeIntervals {
  assert(confidence > 0 && confidence < 1, 'a confidence lies between 0 and 1')
  const shape = shapeOf(values)
  const dof = gaugeDof(shape)
  const random = new SeededRandom(seed)
  const drawn = Object.fromEntries(names.map(name => [name, new Float64Array(draws)])) as
    Record<keyof GaugeSpread, Float64Array>
  const again = (name: keyof GaugeAnova['ms']): number =>
    anova.ms[name] * dof[name] / chiSquare(random, dof[name])
  for (let i = 0; i < draws; i++) {
    const ms = {
      appraisers: again('appraisers'), parts: again('parts'), interaction: again('interaction'),
      error: again('error'),
    }
    const spread = spreadOf(ms, shape, anova.pooled)
    for (const name of names) drawn[name][i] = spread[name]
  }
  const tail = (1 - confidence) / 2
  const bounds = (all: Float64Array): Interval => {
    const known = all.filter(value => !Number.isNaN(value)).sort()
    const at = (share: number): number =>
      known[Math.min(known.length - 1, Math.floor(share * known.length))] ?? NaN
    return { low: at(tail), high: at(1 - tail) }
  }
  return Object.fromEntries(names.map(name => [name, bounds(drawn[name])])) as
    Record<keyof GaugeSpread, Interval>
}

/** A chi-square deviate of `dof` degrees of freedom (gamma by Marsaglia and Tsang's method, from memory). */
function chiSquare(random: SeededRandom, dof: number): number {
  const shape = dof / 2
  // Below a shape of one the method needs one more, and a power of a uniform deviate.
  const boost = shape < 1 ? random.next() ** (1 / shape) : 1
  const d = (shape < 1 ? shape + 1 : shape) - 1 / 3
  const c = 1 / Math.sqrt(9 * d)
  for (;;) {
    const x = random.normal()
    const v = (1 + c * x) ** 3
    if (v <= 0) continue
    const u = random.next()
    if (Math.log(u) < 0.5 * x * x + d - d * v + d * Math.log(v)) return 2 * d * v * boost
  }
}
