/**
 * Do two lots differ? Each test states the chance of such a difference, or a greater one, between lots of one
 * kind.
 */
import { assert } from '../../base/assert.ts'
import { fUpperTail, normalCdf, tCdf, tQuantile } from '../distributions.ts'
import { assertNumbers } from '../inputs.ts'
import { mean, median, sd } from '../statistics.ts'
import { oneWayAnova } from './anova.ts'

export interface LotComparison {
  /** Mean of the second less mean of the first, in the unit of the values, with its interval. */
  difference: number
  low: number
  high: number
  /** Welch's t test of the means (spreads may differ); two-sided. */
  means: { t: number; dof: number; p: number }
  /** F test of the variances, two-sided; strict about normal data. */
  variances: { f: number; p: number }
  /** Levene's test of the spreads about the medians (Brown and Forsythe's form); NaN as `leveneTest`. */
  spreads: { f: number; p: number }
  /** Mann and Whitney's test of the order, normal approximation with ties and continuity; two-sided. */
  order: { u: number; p: number }
}

/**
 * Compares two lots; the interval is at `confidence` (0.95). Asserts two finite values each, and that neither
 * lot is all one value.
 */
export function compareLots(
  first: ArrayLike<number>, second: ArrayLike<number>, confidence = 0.95,
): LotComparison {
  assertNumbers(first, 'first lot', 2)
  assertNumbers(second, 'second lot', 2)
  const [s1, s2] = [sd(first), sd(second)]
  assert(s1 > 0 && s2 > 0, 'a lot whose parts are all alike cannot be compared')
  const [v1, v2] = [s1 ** 2 / first.length, s2 ** 2 / second.length]
  const u = Math.sqrt(v1 + v2)
  const dof = (v1 + v2) ** 2 / (v1 ** 2 / (first.length - 1) + v2 ** 2 / (second.length - 1))
  const difference = mean(second) - mean(first)
  const half = u * tQuantile((1 + confidence) / 2, dof)
  return {
    difference, low: difference - half, high: difference + half,
    means: { t: difference / u, dof, p: 2 * tCdf(-Math.abs(difference) / u, dof) },
    variances: varianceTest(s1, first.length, s2, second.length),
    spreads: leveneTest([first, second]), order: mannWhitney(first, second),
  }
}

function varianceTest(s1: number, n1: number, s2: number, n2: number): { f: number; p: number } {
  const f = (s2 / s1) ** 2
  const above = fUpperTail(f, n2 - 1, n1 - 1)
  return { f, p: Math.min(1, 2 * Math.min(above, 1 - above)) }
}

/** Two parts lie equally far from their median whatever they read: nothing is left to test spreads by. */
export const spreadPartsLeast = 3
/** What rounding may leave of deviations that are alike, as a share of the largest value. */
const rounding = 8 * Number.EPSILON

/**
 * Levene's test about the medians, for two groups or more. NaN where a group has fewer than three values, or
 * where the deviations do not scatter within any group. Asserts as `oneWayAnova` does.
 */
export function leveneTest(groups: readonly ArrayLike<number>[]): { f: number; p: number } {
  const away = groups.map(group => {
    const middle = median(group)
    return Float64Array.from(group, v => Math.abs(v - middle))
  })
  if (groups.some(({ length }) => length < spreadPartsLeast)) return { f: NaN, p: NaN }
  const { f, p, residualSd } = oneWayAnova(away)
  const most = groups.flatMap(group => Array.from(group, Math.abs)).reduce((a, b) => Math.max(a, b), 0)
  return residualSd <= rounding * most ? { f: NaN, p: NaN } : { f, p }
}

/**
 * Mann and Whitney's test. `u` counts the pairs in which the second lot's part is the greater, ties as half.
 * The normal approximation is fair from some eight parts each.
 */
export function mannWhitney(first: ArrayLike<number>, second: ArrayLike<number>): { u: number; p: number } {
  const [n1, n2] = [first.length, second.length]
  const ranked = [...Array.from(first, v => ({ v, lot: 0 })), ...Array.from(second, v => ({ v, lot: 1 }))]
    .sort((a, b) => a.v - b.v)
  let [rankSum, ties] = [0, 0]
  for (let i = 0; i < ranked.length;) {
    let end = i + 1
    while (end < ranked.length && ranked[end]!.v === ranked[i]!.v) end++
    const alike = end - i
    rankSum += ranked.slice(i, end).filter(r => r.lot === 1).length * (i + 1 + end) / 2
    ties += alike ** 3 - alike
    i = end
  }
  const [u, n] = [rankSum - n2 * (n2 + 1) / 2, n1 + n2]
  const spread = Math.sqrt(n1 * n2 / 12 * (n + 1 - ties / (n * (n - 1))))
  const z = spread > 0 ? Math.max(0, Math.abs(u - n1 * n2 / 2) - 0.5) / spread : 0
  return { u, p: Math.min(1, 2 * normalCdf(-z)) }
}
