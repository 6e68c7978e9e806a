/** The parts of one or several runs, each once, with what the list said of it and what was measured. Pure. */
import { formatSi } from '../base/format.ts'
import type { PartChoice } from '../schema/lots.ts'
import { partsList, type PartKind, type PartsLine } from '../schema/parts-list.ts'
import { isOfPosition, type Criterion, type Grade, type PartResult, type RunRecord } from '../schema/run.ts'

export interface LotRun { readonly run: RunRecord; readonly results: readonly PartResult[] }

export interface LotPart {
  readonly run: string
  /** As it was called for: `Q3`, `line 7 #12`, a position. */
  readonly name: string
  /** As it is on record. */
  readonly part: string
  readonly kind: PartKind | null
  readonly material: PartsLine['material']
  readonly value: number | null
  /** The value in words: `4k7`, `BC108`. */
  readonly valueText: string
  /** Line of the list; null of a run without a list. */
  readonly line: number | null
  readonly grade: Grade
  /** By quantity; the second of one name is `NAME 2`. Finite values alone. */
  readonly measured: ReadonlyMap<string, Criterion>
}

/** Of one run, in its order. */
export function partsOfRun({ run, results }: LotRun): LotPart[] {
  return partsOfResults(results, run.id, linesOf(run))
}

/** Of results alone, where nobody knows what the list said; one of a position is of no part. */
export function partsOfResults(
  results: readonly PartResult[], run = '', lines: ReadonlyMap<string, PartsLine> = new Map(),
): LotPart[] {
  return results.filter(result => !isOfPosition(result)).map(({ position, part, grade, criteria }) => {
    const line = lines.get(position) ?? lines.get(/^line \d+/.exec(position)?.[0] ?? '')
    return {
      run, name: position, part, grade, measured: named(criteria), kind: line?.kind ?? null,
      material: line?.material ?? null, value: line?.value?.si ?? null, valueText: line?.valueText ?? '',
      line: line?.line ?? null,
    }
  })
}

/** Of several runs: of a part that was measured in more than one the newest result alone, as on record. */
export function partsOfRuns(runs: readonly LotRun[]): { parts: LotPart[]; replaced: number } {
  const inTime = [...runs].sort((a, b) => a.run.startedWallMs - b.run.startedWallMs)
  const all = inTime.flatMap(partsOfRun)
  const newest = new Map(all.map(part => [part.part, part]))
  return { parts: [...newest.values()], replaced: all.length - newest.size }
}

/** Quantities of one name keep the order in which the method has them: a diode has two forward voltages. */
export function named(criteria: readonly Criterion[]): Map<string, Criterion> {
  const by = new Map<string, Criterion>()
  const count = new Map<string, number>()
  for (const criterion of criteria) {
    const nth = (count.get(criterion.name) ?? 0) + 1
    count.set(criterion.name, nth)
    if (Number.isFinite(criterion.value)) {
      by.set(nth === 1 ? criterion.name : `${criterion.name} ${nth}`, criterion)
    }
  }
  return by
}

/** Whether a part is meant, grades aside. */
export const isChosen = ({ kind, value }: LotPart, choice: PartChoice): boolean =>
  (choice.kind === undefined || kind === choice.kind)
  && (choice.value === undefined || (value !== null && nearly(value, choice.value)))

/** Values of lists differ by rounding alone. */
const nearly = (a: number, b: number): boolean => Math.abs(a - b) <= 1e-6 * Math.max(Math.abs(a), Math.abs(b))

/** Names where they tell the parts apart, and else the names on record. */
export function labelsOf(parts: readonly LotPart[]): string[] {
  const names = new Set(parts.map(({ name }) => name))
  return parts.map(({ name, part }) => names.size === parts.length ? name : part)
}

/** What the list says of a run's parts, by designator, or by `line N` of a reel. */
function linesOf({ setup }: RunRecord): Map<string, PartsLine> {
  const request = setup['request'] as { parts?: unknown } | undefined
  const lines = partsList.shape.parts.safeParse(request?.parts)
  const by = new Map<string, PartsLine>()
  for (const line of lines.success ? lines.data : []) {
    for (const name of line.designators) by.set(name, line)
    if (line.designators.length === 0) by.set(`line ${line.line}`, line)
  }
  return by
}

/** A value of a list in words. */
export const valueWords = ({ valueText, value, measured }: LotPart): string => valueText !== '' ? valueText
  : formatSi(value, [...measured.values()][0]?.unit ?? '')
