/**
 * The sheet of a lot: what the parts of one or several runs are worth together. Parts are put together by
 * what was compared with what: the same quantity against the same limits. Pure; SI units.
 */
import { individualsChart, type Chart } from '../analysis/lots/control-charts.ts'
import { summariseLot } from '../analysis/lots/summary.ts'
import { yieldOf } from '../analysis/lots/yield.ts'
import { median } from '../analysis/statistics.ts'
import type { LotQuantity, LotSheet, SheetChart } from '../schema/lot-sheet.ts'
import type { PartChoice } from '../schema/lots.ts'
import type { Criterion, Grade, PartResult } from '../schema/run.ts'
import { sampleDrawn } from '../schema/sampling.ts'
import { isChosen, labelsOf, partsOfResults, partsOfRuns, type LotPart, type LotRun } from './lot-parts.ts'
import { quantityWords } from './lot-sheet-words.ts'
import { standardSeriesOf, type RunEvents } from './lot-standards.ts'

export { lotLines } from './lot-sheet-words.ts'

interface Group {
  readonly quantity: string
  readonly criterion: Criterion
  readonly kind: LotPart['kind']
  readonly values: number[]
  readonly us: number[]
  readonly labels: string[]
}

/** `sessions`: runs in which check standards were read, these and earlier ones. */
export function sheetOfRuns(
  runs: readonly LotRun[], choice: PartChoice = {}, sessions: readonly RunEvents[] = [],
): LotSheet {
  const { parts: all, replaced } = partsOfRuns(runs)
  const wanted = (part: LotPart): boolean =>
    isChosen(part, choice) && (choice.grades ?? [part.grade]).includes(part.grade)
  return {
    ...sheetOfParts(all.filter(wanted)), replaced, standards: standardSeriesOf(sessions),
    runs: runs.map(({ run: { id, sequence, bench, person, startedWallMs, state, setup } }) =>
      ({ id, sequence, bench, person, startedWallMs, state, sample: sampleIn(setup['sample']) })),
  }
}

function sampleIn(given: unknown): LotSheet['runs'][number]['sample'] {
  const { success, data } = sampleDrawn.safeParse(given)
  return success ? { n: data.n, lotSize: data.lotSize } : null
}

/** Of results alone: no kinds, no check standards. */
export const lotSheet = (results: readonly PartResult[]): LotSheet => sheetOfParts(partsOfResults(results))

function sheetOfParts(parts: readonly LotPart[]): LotSheet {
  const grades: Record<Grade, number> = { accept: 0, marginal: 0, reject: 0, 'cannot tell': 0 }
  for (const { grade } of parts) grades[grade]++
  return {
    runs: [], parts: parts.length, replaced: 0, grades, standards: [],
    yield: parts.length === 0 ? null : yieldOf(grades.accept, parts.length),
    quantities: groupsOf(parts).map(quantityOf).sort((a, b) => b.n - a.n),
  }
}

function groupsOf(parts: readonly LotPart[]): Group[] {
  const labels = labelsOf(parts)
  const groups = new Map<string, Group>()
  parts.forEach(({ measured, kind }, i) => {
    for (const [quantity, criterion] of measured) {
      const { unit, limitLow, limitHigh } = criterion
      const key = [quantity, unit, limitLow, limitHigh, kind].join('|')
      const group = groups.get(key) ?? { quantity, criterion, kind, values: [], us: [], labels: [] }
      groups.set(key, group)
      group.values.push(criterion.value)
      group.labels.push(labels[i]!)
      if (criterion.expandedU > 0 && Number.isFinite(criterion.expandedU)) group.us.push(criterion.expandedU)
    }
  })
  return [...groups.values()]
}

function quantityOf({ quantity, criterion, kind, values, us, labels }: Group): LotQuantity {
  const { unit, limitLow, limitHigh, source } = criterion
  const { n, mean, s, median: middle, robustS, least, most, bins, ...found } =
    summariseLot(values, { lower: limitLow, upper: limitHigh })
  const charts = values.length >= 2 ? individualsChart(values) : null
  const { capability, grubbs } = found
  const of: Omit<LotQuantity, 'says'> = {
    quantity, unit, kind, limitLow: limitLow ?? null, limitHigh: limitHigh ?? null, source,
    n, mean, s: s ?? null, median: middle, robustS, least, most, bins, labels,
    expandedU: us.length === 0 ? null : median(us),
    capability: capability ? { ...capability, cp: capability.cp ?? null } : null,
    grubbs: grubbs
      ? {
          label: labels[grubbs.index]!, value: values[grubbs.index]!, g: grubbs.g, critical: grubbs.critical,
          outlier: grubbs.outlier,
        }
      : null,
    far: found.outliers.map(i => labels[i]!), within: found.yield ?? null,
    individuals: charts && shownChart(charts.individuals),
    movingRange: charts && shownChart(charts.movingRange),
  }
  return { ...of, says: quantityWords(of) }
}

const shownChart = ({ centre, lower, upper, points, outside }: Chart): SheetChart =>
  ({ centre, lower, upper, points, outside })
