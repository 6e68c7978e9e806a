/**
 * The sheet of a lot: what the parts of one run are worth together. Parts are put together by what was
 * compared with what: the same quantity against the same limits. Pure; SI units.
 */
import { summariseLot, type LotSummary } from '../analysis/lots/summary.ts'
import { yieldOf, type Yield } from '../analysis/lots/yield.ts'
import { formatProbability, formatSi } from '../base/format.ts'
import type { Criterion, Grade, PartResult } from '../schema/run.ts'

export interface LotQuantity {
  readonly name: Criterion['name']
  readonly unit: string
  readonly limitLow: number | null
  readonly limitHigh: number | null
  readonly summary: LotSummary
  /** Parts that stand far from the rest, by position. */
  readonly outliers: readonly string[]
}

export interface LotSheet {
  readonly parts: number
  readonly grades: Readonly<Record<Grade, number>>
  /** Accepted, of all that have a result, with an exact interval; absent where there is no part. */
  readonly yield: Yield | null
  /** Most parts first. */
  readonly quantities: readonly LotQuantity[]
}

/** Results as the record has them, the newest of each part. */
export function lotSheet(results: readonly PartResult[]): LotSheet {
  const grades: Record<Grade, number> = { accept: 0, marginal: 0, reject: 0, 'cannot tell': 0 }
  for (const { grade } of results) grades[grade]++
  const groups = new Map<string, { criterion: Criterion; values: number[]; positions: string[] }>()
  for (const { position, criteria } of results) {
    for (const criterion of criteria) {
      if (!Number.isFinite(criterion.value)) continue
      const { name, unit, limitLow, limitHigh } = criterion
      const key = [name, unit, limitLow, limitHigh].join('|')
      const group = groups.get(key) ?? { criterion, values: [], positions: [] }
      group.values.push(criterion.value)
      group.positions.push(position)
      groups.set(key, group)
    }
  }
  return {
    parts: results.length,
    grades,
    yield: results.length === 0 ? null : yieldOf(grades.accept, results.length),
    quantities: [...groups.values()].map(quantityOf).sort((a, b) => b.summary.n - a.summary.n),
  }
}

function quantityOf({
  criterion,
  values,
  positions,
}: {
  criterion: Criterion
  values: number[]
  positions: string[]
}): LotQuantity {
  const { name, unit, limitLow, limitHigh } = criterion
  const summary = summariseLot(values, { lower: limitLow, upper: limitHigh })
  return {
    name,
    unit,
    limitLow: limitLow ?? null,
    limitHigh: limitHigh ?? null,
    summary,
    outliers: summary.outliers.map(index => positions[index]!),
  }
}

/** One line a quantity, ready for a screen; what does not exist is a dash. */
export function lotLines({ parts, grades, yield: whole, quantities }: LotSheet): string[][] {
  const share =
    whole === null
      ? '–'
      : `${formatProbability(whole.share)} accepted (${formatProbability(whole.low)} to ` +
        `${formatProbability(whole.high)} at 95 %)`
  const counts = Object.entries(grades)
    .filter(([, count]) => count > 0)
    .map(([grade, count]) => `${count} ${grade}`)
  return [
    [`${parts} parts`, counts.join(', '), share],
    ...quantities.map(({ name, unit, summary, outliers }) => [
      `${name}, ${summary.n}`,
      `mean ${formatSi(summary.mean, unit, 4)}, s ${formatSi(summary.s, unit, 2)}`,
      [
        summary.capability ? `Cpk ${summary.capability.cpk.toFixed(2)}` : '',
        outliers.length > 0 ? `far from the rest: ${outliers.join(' ')}` : '',
      ]
        .filter(Boolean)
        .join('; '),
    ]),
  ]
}
