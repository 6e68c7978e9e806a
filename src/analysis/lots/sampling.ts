/** Single sampling by attributes after MIL-STD-105E: the plan for a lot. */
import { assert } from '../../base/assert.ts'
import {
  aqlColumns, codeLetterRows, inspectionLevels, normalTable, reducedTable, tightenedTable, type Aql,
  type InspectionLevel, type SamplingTable,
} from './sampling-tables.ts'

export type Severity = 'normal' | 'tightened' | 'reduced'

export interface SamplingPlan {
  /** Letter of the plan used; an arrow in the table can make it another than the lot's own. */
  letter: string
  /** Parts to inspect; the plan's n replaces that of the lot's own letter. */
  n: number
  /** The lot is accepted at `ac` bad parts or fewer, rejected at `re` or more. */
  ac: number
  re: number
}

export interface LotPlan extends SamplingPlan {
  /** The letter of the lot's size, before arrows. */
  codeLetter: string
  /** True when the plan asks for as many parts as there are or more: then every part is inspected. */
  all: boolean
}

const tables: Record<Severity, SamplingTable> = {
  normal: normalTable, tightened: tightenedTable, reduced: reducedTable,
}

/** Code letter of a lot (table I). Asserts a whole lot size of 2 or more. */
export function codeLetter(lotSize: number, level: InspectionLevel = 'II'): string {
  assert(Number.isInteger(lotSize) && lotSize >= 2, `a lot has two parts or more, got ${lotSize}`)
  const row = codeLetterRows.find(([largest]) => lotSize <= largest)!
  return row[1][inspectionLevels.indexOf(level)]!
}

/** The cell itself, before arrows are followed: [ac, re], or the way the arrow points. */
export function tableCell(
  severity: Severity, letter: string, aql: Aql,
): [ac: number, re: number] | 'up' | 'down' {
  const row = tables[severity].find(([of]) => of === letter)
  assert(row, `no code letter ${letter} in the table of ${severity} inspection`)
  const cell = row[2].split(' ')[aqlColumns.indexOf(aql)]
  assert(cell !== undefined, `no column for a quality level of ${aql}`)
  if (cell === '^' || cell === 'v') return cell === '^' ? 'up' : 'down'
  const [ac, re] = cell.split('/').map(Number)
  return [ac!, re ?? ac! + 1]
}

/** The plan of a code letter, arrows followed. Asserts a letter and a level of the tables. */
export function planOf(severity: Severity, letter: string, aql: Aql): SamplingPlan {
  const table = tables[severity]
  let at = table.findIndex(([of]) => of === letter)
  for (let cell = tableCell(severity, letter, aql); ; cell = tableCell(severity, table[at]![0], aql)) {
    const [own, n] = table[at]!
    if (typeof cell !== 'string') return { letter: own, n, ac: cell[0], re: cell[1] }
    at += cell === 'up' ? -1 : 1
  }
}

/** The plan for a lot. `aql`: acceptable quality level, per cent bad. Asserts as `codeLetter` does. */
export function planForLot(
  lotSize: number, aql: Aql, severity: Severity = 'normal', level: InspectionLevel = 'II',
): LotPlan {
  const letter = codeLetter(lotSize, level)
  const plan = planOf(severity, letter, aql)
  return { ...plan, codeLetter: letter, all: plan.n >= lotSize, n: Math.min(plan.n, lotSize) }
}
