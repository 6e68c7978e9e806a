/** Comparisons behind a grade: value with its uncertainty against a limit, in words too. Pure; SI units. */
import { formatSi, formatWithU } from '../base/format.ts'
import { judgeConformance } from '../analysis/conformance.ts'
import type { Criterion } from '../schema/run.ts'

export interface Comparable { value: number; u: number; dof?: number }

/** `dof`: degrees of freedom of `u`. `source`: where the limit comes from, in words. */
export function criterion(
  name: Criterion['name'], { value, u, dof = Infinity }: Comparable, unit: string,
  limits: { low?: number; high?: number }, source: string,
): Criterion {
  const verdict = judgeConformance({ y: value, u, dof }, {
    ...(limits.low === undefined ? {} : { lower: limits.low }),
    ...(limits.high === undefined ? {} : { upper: limits.high }),
  })
  return {
    name, value, unit, expandedU: verdict.expandedU, guardBand: verdict.guardBand, pConform: verdict.pConform,
    grade: verdict.grade, source,
    ...(limits.low === undefined ? {} : { limitLow: limits.low }),
    ...(limits.high === undefined ? {} : { limitHigh: limits.high }),
  }
}

/** Value, expanded uncertainty and limits, in words. */
export function show({ value, unit, expandedU, limitLow, limitHigh }: Criterion): string {
  const limits = [
    ...limitLow === undefined ? [] : [`at least ${formatSi(limitLow, unit)}`],
    ...limitHigh === undefined ? [] : [`at most ${formatSi(limitHigh, unit)}`],
  ]
  return [formatWithU(value, expandedU, unit), ...limits].join(', ')
}
