/** Reads a parts list: a table, or bare lines like `200 x 4k7 5 %`. All that is wrong is told at once. */
import type { Problem } from '../base/errors.ts'
import { designatorsMax, letterOf } from '../schema/designators.ts'
import { partsMost, type ListRemark, type PartsLine, type PartsList } from '../schema/parts-list.ts'
import { readHead, type Cell, type Column } from './headings.ts'
import { readLine, type ReadLine } from './line.ts'
import { quoted, type Row } from './told.ts'

export interface ReadParts { readonly list: PartsList; readonly problems: readonly Problem[] }

/** A table: records of cells, the first with the headings. `file` is its name for messages. */
export function readTable(file: string, records: readonly (readonly Cell[])[]): ReadParts {
  const [first = [], ...rest] = records
  const head = readHead(file, first)
  if (head.problems.length > 0) return { list: { parts: [], remarks: [] }, problems: head.problems }
  const problems: Problem[] = []
  const rows = rest.flatMap((cells): Row[] => {
    const more = cells.slice(head.columns.length).find(({ text }) => text.trim() !== '')
    if (more) {
      problems.push({
        file, path: '', line: more.line, column: more.column, expected: `${head.columns.length} cells`,
        got: `${cells.length}, the next is ${quoted(more.text)}`,
      })
      return []
    }
    return [{ line: cells[0]!.line, cells: cellsByColumn(head.columns, cells) }]
  })
  const remarks = head.unused.length === 0 ? []
    : [{ lines: [], text: `columns that are not used: ${head.unused.join(', ')}` }]
  return whole(file, rows, problems, remarks)
}

/** Lines of text, one reel or drawer each. */
export function readReels(file: string, lines: readonly Cell[]): ReadParts {
  const rows = lines.filter(({ text }) => text.trim() !== '')
    .map((cell): Row => ({ line: cell.line, cells: new Map([['value', cell]]) }))
  return whole(file, rows, [], [])
}

function cellsByColumn(columns: readonly (Column | null)[], cells: readonly Cell[]): Map<Column, Cell> {
  return new Map(columns.flatMap((column, i) => column && cells[i] ? [[column, cells[i]] as const] : []))
}

function whole(file: string, rows: readonly Row[], before: Problem[], remarks: ListRemark[]): ReadParts {
  const read: ReadLine[] = []
  let [names, count] = [0, 0]
  for (const row of rows) {
    read.push(readLine(file, row))
    const { part } = read.at(-1)!
    names += part?.designators.length ?? 0
    count += part?.quantity ?? 0
    if (names <= designatorsMax && count <= partsMost) continue
    const expected =
      names > designatorsMax ? `at most ${designatorsMax} designators` : `at most ${partsMost} parts in all`
    const problem = { file, path: '', line: row.line, expected, got: 'more' }
    return { list: { parts: [], remarks }, problems: [problem] }
  }
  const parts = read.flatMap(({ part }) => part ?? [])
  const problems = [...before, ...read.flatMap(({ told }) => told.problems), ...again(file, read)]
  if (rows.length === 0 && problems.length === 0) {
    problems.push({ file, path: '', line: 1, column: 1, expected: 'at least one part', got: 'none' })
  }
  const ofLines = read.flatMap(({ told }) => told.remarks.map(text => ({ lines: [told.row.line], text })))
  problems.sort((a, b) => (a.line ?? 0) - (b.line ?? 0) || (a.column ?? 0) - (b.column ?? 0))
  const all = [...remarks, ...proposals(parts), ...unsaid(parts), ...ofLines]
  return { list: { parts, remarks: all }, problems }
}

/** Designators that an earlier line has already. */
function again(file: string, read: readonly ReadLine[]): Problem[] {
  const lineOf = new Map<string, number>()
  return read.flatMap(({ part, told }) => (part?.designators ?? []).flatMap((name): Problem[] => {
    const earlier = lineOf.get(name)
    if (earlier === undefined) { lineOf.set(name, told.row.line); return [] }
    const cell = told.row.cells.get('designator')!
    return [{
      file, path: 'designator', line: cell.line, column: cell.column, expected: 'each designator once',
      got: `"${name}" again, as in line ${earlier}`,
    }]
  }))
}

/** Kinds that the list did not say: proposed by letters or by values, for a person to confirm. */
function proposals(parts: readonly PartsLine[]): ListRemark[] {
  const groups = new Map<string, PartsLine[]>()
  for (const part of parts.filter(({ kindFrom }) => kindFrom === 'letter' || kindFrom === 'value')) {
    const by = part.kindFrom === 'value' ? 'the unit of the value'
      : `the letter ${letterOf(part.designators[0]!)}`
    const key = `taken for ${part.kind} by ${by}`
    groups.set(key, [...groups.get(key) ?? [], part])
  }
  return [...groups].map(([text, group]) => ({ lines: linesOf(group), text }))
}

/** Capacitors of which no rule that goes by dielectric can be sure. */
function unsaid(parts: readonly PartsLine[]): ListRemark[] {
  const group = parts.filter(part => part.kind === 'capacitor' && part.dielectrics.length === 0)
  const text = 'capacitors whose dielectric is not said'
  return group.length === 0 ? [] : [{ lines: linesOf(group), text }]
}

const linesOf = (parts: readonly PartsLine[]): number[] => parts.map(({ line }) => line)
