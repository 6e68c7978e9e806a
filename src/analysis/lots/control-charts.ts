/**
 * Control charts. Limits at three standard deviations unless said otherwise; a point on a limit is in
 * control. Formulas: NIST/SEMATECH e-Handbook 6.3.2. All values in the unit of the data.
 */
import { assert } from '../../base/assert.ts'
import { assertNumbers } from '../inputs.ts'
import { mean } from '../statistics.ts'
import { rangeConstants } from './range-constants.ts'

export interface ChartLimits { centre: number; lower: number; upper: number }

export interface Chart extends ChartLimits {
  points: number[]
  /** Indices of points outside the limits. */
  outside: number[]
}

const chart = (points: number[], limits: ChartLimits): Chart => ({
  ...limits, points, outside: points.flatMap((p, i) => (p < limits.lower || p > limits.upper ? [i] : [])),
})

/** Individuals and moving ranges of two. Asserts two finite values. */
export function individualsChart(values: ArrayLike<number>): { individuals: Chart; movingRange: Chart } {
  assertNumbers(values, 'values', 2)
  const points = Array.from(values)
  const ranges = points.slice(1).map((v, i) => Math.abs(v - points[i]!))
  const [centre, rBar] = [mean(points), mean(ranges)]
  const { d2, D3, D4 } = rangeConstants(2)
  const half = 3 * rBar / d2
  return {
    individuals: chart(points, { centre, lower: centre - half, upper: centre + half }),
    movingRange: chart(ranges, { centre: rBar, lower: D3 * rBar, upper: D4 * rBar }),
  }
}

/** Limits of means and ranges of subgroups of n (2 to 100), from the grand mean and the mean range. */
export function meanRangeLimits(
  grandMean: number, meanRange: number, n: number,
): { means: ChartLimits; ranges: ChartLimits } {
  assert(meanRange >= 0, `a mean range is 0 or more, got ${meanRange}`)
  const { a2, D3, D4 } = rangeConstants(n)
  return {
    means: { centre: grandMean, lower: grandMean - a2 * meanRange, upper: grandMean + a2 * meanRange },
    ranges: { centre: meanRange, lower: D3 * meanRange, upper: D4 * meanRange },
  }
}

/** Means and ranges of subgroups, all of one length from 2 to 100. Asserts one subgroup and finite values. */
export function meanRangeChart(subgroups: readonly ArrayLike<number>[]): { means: Chart; ranges: Chart } {
  assert(subgroups.length > 0, 'a chart needs a subgroup')
  const n = subgroups[0]!.length
  for (const group of subgroups) {
    assertNumbers(group, 'subgroup', 2)
    assert(group.length === n, 'subgroups differ in length')
  }
  const means = subgroups.map(mean)
  const ranges = subgroups.map(group => Math.max(...Array.from(group)) - Math.min(...Array.from(group)))
  const limits = meanRangeLimits(mean(means), mean(ranges), n)
  return { means: chart(means, limits.means), ranges: chart(ranges, limits.ranges) }
}

export interface EwmaSettings {
  target: number
  /** Standard deviation of one value, above 0. */
  sd: number
  /** Weight of the newest value, above 0 to 1; 0.2 to 0.3 is common practice. */
  weight: number
  /** Half width of the limits in standard deviations; 3. */
  width?: number
}

/**
 * Exponentially weighted moving average, started at the target; limits as they are after many points. Asserts
 * finite values and sane settings.
 */
export function ewmaChart(values: ArrayLike<number>, { target, sd, weight, width = 3 }: EwmaSettings): Chart {
  assertNumbers(values, 'values')
  assert(weight > 0 && weight <= 1, `the weight must be above 0 and at most 1, got ${weight}`)
  assert(sd > 0 && Number.isFinite(target), 'an EWMA chart needs a target and a standard deviation above 0')
  let level = target
  const points = Array.from(values, v => { level += weight * (v - level); return level })
  const half = width * sd * Math.sqrt(weight / (2 - weight))
  return chart(points, { centre: target, lower: target - half, upper: target + half })
}

export interface CusumSettings {
  target: number
  /** Slack (half the shift to be found) and decision limit, both in the unit of the values, 0 or more. */
  k: number
  h: number
}

export interface CusumChart {
  /** Sums upward and downward, 0 or more. */
  high: number[]
  low: number[]
  /** Index of the first value at which a sum passes h; -1 if none does. */
  firstSignal: number
}

/** Tabular cumulative sums. Asserts finite values and settings of 0 or more. */
export function cusumChart(values: ArrayLike<number>, { target, k, h }: CusumSettings): CusumChart {
  assertNumbers(values, 'values')
  assert(k >= 0 && h >= 0 && Number.isFinite(target), 'a CUSUM chart needs a target, k and h of 0 or more')
  let [up, down] = [0, 0]
  const [high, low]: [number[], number[]] = [[], []]
  for (let i = 0; i < values.length; i++) {
    up = Math.max(0, up + values[i]! - target - k)
    down = Math.max(0, down + target - k - values[i]!)
    high.push(up)
    low.push(down)
  }
  return { high, low, firstSignal: high.findIndex((sum, i) => sum > h || low[i]! > h) }
}
