/** Holds what sessions said against what the parts are: intervals, grades, and each kind of defect. */
import { calibration, coverage, decisions, pFails, type Calibration, type Coverage, type Decisions } from '../truth/score.ts'
import { studyKinds } from './draw.ts'
import type { Screened } from './session.ts'

export interface CriterionScore {
  readonly coverage: Coverage
  /** Null where true values were not drawn about a limit: then a probability of conformance is no share. */
  readonly grades: { readonly calibration: Calibration; readonly decisions: Decisions } | null
}

export interface ConfusionRow {
  readonly kind: string
  /** Null: sound, and inside of everything that is asked. */
  readonly defect: string | null
  readonly parts: number
  readonly grades: Readonly<Record<string, number>>
}

export interface ScreeningScore {
  readonly parts: number
  /** Sessions that did not come to a result. */
  readonly none: number
  /** By criterion and kind, as `gain of npn`. */
  readonly criteria: Readonly<Record<string, CriterionScore>>
  readonly confusion: readonly ConfusionRow[]
}

const drawn = new Set(Object.entries(studyKinds).flatMap(([kind, { criterion }]) =>
  criterion ? [`${criterion} of ${kind}`] : []))

/** Fewer values than that are not judged. */
const fewest = 30

export function scoreScreening(all: readonly Screened[]): ScreeningScore {
  const by = new Map<string, Screened['judged'][number][]>()
  for (const { kind, judged } of all) {
    for (const one of judged) {
      const key = `${one.name} of ${kind}`
      by.set(key, [...by.get(key) ?? [], one])
    }
  }
  const enough = [...by].filter(([, values]) => values.length >= fewest).sort(([a], [b]) => a.localeCompare(b))
  return {
    parts: all.length, none: all.filter(({ grade }) => grade === 'none').length, confusion: confusion(all),
    criteria: Object.fromEntries(enough.map(([key, values]) => [key, {
      coverage: coverage(values),
      grades: drawn.has(key) ? { calibration: calibration(values), decisions: decisions(values) } : null,
    }])),
  }
}

function confusion(all: readonly Screened[]): ConfusionRow[] {
  const rows = new Map<string, ConfusionRow & { parts: number; grades: Record<string, number> }>()
  for (const { kind, defect, grade } of all) {
    const key = `${kind} ${defect}`
    const row = rows.get(key) ?? { kind, defect, parts: 0, grades: {} }
    rows.set(key, { ...row, parts: row.parts + 1, grades: { ...row.grades, [grade]: (row.grades[grade] ?? 0) + 1 } })
  }
  return [...rows.values()].sort((a, b) => a.kind.localeCompare(b.kind) || (a.defect ?? '').localeCompare(b.defect ?? ''))
}

/** Intervals that are too short, and decisions that are wrong more or less often than predicted. */
export function screeningFailures({ criteria }: ScreeningScore): string[] {
  const tests = Object.entries(criteria).flatMap(([key, { coverage, grades }]): [string, number][] => [
    [`coverage of ${key}`, coverage.pTooShort],
    ...grades === null ? [] : [
      [`conforming by ${key}`, grades.calibration.all.p],
      [`false accepts by ${key}`, grades.decisions.falseAccept.p],
      [`not accepted by ${key}`, grades.decisions.notAccepted.p],
      [`false rejects by ${key}`, grades.decisions.falseReject.p],
    ] satisfies [string, number][],
  ])
  return tests.filter(([, p]) => !(p > pFails)).map(([what, p]) => `${what} (p ${p.toExponential(1)})`)
}

const show = (p: number): string => p < 0.001 ? p.toExponential(1) : p.toFixed(3)

function gradeLines({ calibration: { all }, decisions }: NonNullable<CriterionScore['grades']>): string[] {
  const line = (what: string, { n, seen, predicted, p }: typeof all): string =>
    `    ${what.padEnd(12)} ${seen} of ${n}, predicted ${predicted.toFixed(1)}, p ${show(p)}`
  return [
    line('conform', all),
    ...(['falseAccept', 'notAccepted', 'falseReject'] as const).map(what => line(what, decisions[what])),
  ]
}

export function screeningLines({ parts, none, criteria, confusion }: ScreeningScore): string[] {
  return [
    `${parts} parts, ${none} without a result`,
    ...Object.entries(criteria).flatMap(([key, { coverage: c, grades }]) => [
      `${key.padEnd(42)} covered ${c.inside} of ${c.n} = ${(100 * c.share).toFixed(2)} %, p too short ${show(c.pTooShort)}`,
      ...grades ? gradeLines(grades) : [],
    ]),
    ...confusion.map(({ kind, defect, parts: n, grades }) =>
      `${kind.padEnd(24)} ${(defect ?? 'sound').padEnd(14)} ${String(n).padStart(5)}  ${Object.entries(grades)
        .sort((a, b) => b[1] - a[1]).map(([grade, count]) => `${grade} ${count}`).join(', ')}`),
  ]
}
