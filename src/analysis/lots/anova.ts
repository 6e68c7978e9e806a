/** One-way analysis of variance. Checked against the NIST StRD ANOVA sets. */
import { assert } from '../../base/assert.ts'
import { fUpperTail } from '../distributions.ts'
import { assertNumbers } from '../inputs.ts'
import { sum } from '../statistics.ts'

export interface Anova {
  /** Sums of squares in the unit of the values squared, degrees of freedom. */
  between: { ss: number; dof: number; ms: number }
  within: { ss: number; dof: number; ms: number }
  /** Infinity when nothing varies within; NaN when nothing varies at all. */
  f: number
  /** Chance of such an F or a greater one when all groups have one mean. */
  p: number
  rSquared: number
  residualSd: number
}

/**
 * Groups of any lengths. Sums are compensated and taken about a group value, so that a large common offset
 * costs no more digits than the values themselves have lost. Asserts two groups, one value each, more values
 * than groups, all finite.
 */
export function oneWayAnova(groups: readonly ArrayLike<number>[]): Anova {
  assert(groups.length >= 2, `an analysis of variance needs two groups, got ${groups.length}`)
  for (const group of groups) assertNumbers(group, 'group')
  const n = groups.reduce((total, group) => total + group.length, 0)
  assert(n > groups.length, 'an analysis of variance needs more values than groups')
  const shift = groups[0]![0]!
  const moved = groups.map(group => Float64Array.from(group, v => v - shift))
  const means = moved.map(meanOf)
  const grand = sum(moved.map(group => sum(group))) / n
  const betweenSs = sum(means.map((m, i) => moved[i]!.length * (m - grand) ** 2))
  const withinSs = sum(moved.map((group, i) => squaresAbout(group, means[i]!)))
  const [between, within] = [part(betweenSs, groups.length - 1), part(withinSs, n - groups.length)]
  const f = between.ms / within.ms
  return {
    between, within, f, p: Number.isNaN(f) ? NaN : fUpperTail(f, between.dof, within.dof),
    rSquared: betweenSs / (betweenSs + withinSs), residualSd: Math.sqrt(within.ms),
  }
}

const part = (ss: number, dof: number): Anova['between'] => ({ ss, dof, ms: ss / dof })

/** Mean, corrected once for its own rounding. */
function meanOf(values: Float64Array): number {
  const first = sum(values) / values.length
  return first + sum(values.map(v => v - first)) / values.length
}

function squaresAbout(values: Float64Array, middle: number): number {
  return sum(values.map(v => (v - middle) ** 2))
}
