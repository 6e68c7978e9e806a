/** The rack list: what a person has put on which position. YAML, JSON or CSV. */
import { z } from 'zod'
import { hasCode, type Problem } from '../base/errors.ts'
import { nearest, type Found } from '../schema/problems.ts'
import {
  invalidFile, judgePlaced, readPlaced, readWhole, type Locate, type Placed,
} from '../schema/read-file.ts'
import { loadedPart, type LoadedPart } from '../schema/run.ts'
import { parseCsv, type CsvCell } from './csv.ts'

type Heading = keyof LoadedPart
const headings = Object.keys(loadedPart.shape) as Heading[]
const required: readonly Heading[] = ['position', 'part', 'profile']
const numbers: readonly Heading[] = ['ratedV', 'capacitanceF', 'serviceC', 'serviceV']
const what = 'a rack list'
/** A rack list as YAML or JSON holds it. */
export const rackList = z.array(loadedPart).min(1)

/** `locate` takes the index of a part, and a key of it. */
export interface Rack { readonly file: string; readonly parts: LoadedPart[]; readonly locate: Locate }

/**
 * Reads a rack list: a list in YAML or JSON, or CSV (RFC 4180) with the keys of such a list as headings, in
 * any order. FILE_UNREADABLE, or FILE_INVALID with every problem, first line first.
 */
export function readRackList(file: string): Rack {
  if (file.toLowerCase().endsWith('.csv')) return readCsvRack(file)
  const placed = readPlaced(file, what)
  const judged = judgePlaced(rackList, placed, file, value => twice(value, placed.locate))
  if (!judged.ok) throw invalidFile(file, judged.problems.sort(byPlace))
  return { file, parts: judged.value, locate: placed.locate }
}

function readCsvRack(file: string): Rack {
  const { records: [head = [], ...rows], faults } = parseCsv(readWhole(file, what))
  const { columns, problems } = readHead(file, head)
  const placed = placedRows(rows, columns)
  const judged = judgePlaced(rackList, placed, file, value => twice(value, placed.locate))
  // What every row lacks for want of a column is told once, of the headings.
  const ofRows = judged.ok || rows.length === 0 ? [] : judged.problems
    .map(problem => ({ ...problem, path: problem.path.replace(/^\[\d+\]\.?/, '') }))
    .filter(({ path, got }) => got !== 'nothing' || columns.includes(path as Heading))
  const all: Problem[] = [
    ...faults.map(fault => ({ file, path: '', ...fault })), ...problems,
    ...tooLong(file, rows, columns.length), ...ofRows,
  ]
  if (all.length === 0 && rows.length === 0) {
    all.push({ file, path: '', expected: 'at least one part', got: 'none' })
  }
  if (!judged.ok || all.length > 0) throw invalidFile(file, all.sort(byPlace))
  return { file, parts: judged.value, locate: placed.locate }
}

/** What each column holds, null where nobody knows; a heading nearly right is taken for it, and told. */
function readHead(
  file: string, head: readonly CsvCell[],
): { columns: (Heading | null)[]; problems: Problem[] } {
  const problems: Problem[] = []
  const tell = ({ line, column }: { line: number; column: number }, expected: string, got: string): void => {
    problems.push({ file, path: '', line, column, expected, got })
  }
  const exact = head.map(({ text }) => headingOf(text))
  const columns = head.map((cell, i) => {
    const name = exact[i]!
    if (name !== null) {
      if (exact.indexOf(name) === i) return name
      tell(cell, 'each heading once', `"${name}" twice`)
      return null
    }
    const near = nearest(cell.text.trim(), headings) as Heading | undefined
    const one = `one of ${headings.join(', ')}`
    tell(cell, near === undefined ? one : `a known heading: did you mean ${near}?`,
      `the heading ${JSON.stringify(cell.text.trim().slice(0, 60))}`)
    return near === undefined || exact.includes(near) ? null : near
  })
  for (const name of required.filter(known => !columns.includes(known))) {
    const got = head.map(({ text }) => text.trim()).join(', ') || 'nothing'
    tell({ line: 1, column: 1 }, `a heading "${name}"`, got)
  }
  return { columns, problems }
}

const headingOf = (text: string): Heading | null =>
  headings.find(name => name.toLowerCase() === text.trim().toLowerCase()) ?? null

/** Waits for what is said of a request with these parts: what is wrong with one is told by its place. */
export async function ofRack<T>(rack: Rack | null, said: Promise<T>): Promise<T> {
  try {
    return await said
  } catch (error) {
    const problems = hasCode(error, 'FILE_INVALID', 'USAGE') ? error.context.problems ?? [] : []
    const placed = problems.flatMap(problem => rack === null ? [] : placedIn(rack, problem) ?? [])
    throw rack === null || placed.length === 0 ? error : invalidFile(rack.file, placed)
  }
}

function placedIn({ file, locate }: Rack, problem: Problem): Problem | undefined {
  const [, index, key] = /^parts\[(\d+)\]\.(\w+)$/.exec(problem.path) ?? []
  if (index === undefined || key === undefined) return undefined
  return { ...problem, file, path: key, ...locate([Number(index), key]) }
}

/** The rows as a list of parts would hold them, empty cells left out. */
function placedRows(rows: readonly CsvCell[][], columns: readonly (Heading | null)[]): Placed<unknown> {
  const value = rows.map(cells => Object.fromEntries(columns.flatMap((name, i) => {
    const text = cells[i]?.text.trim() ?? ''
    return name === null || text === '' ? [] : [[name, numbers.includes(name) ? numberOr(text) : text]]
  })))
  const locate: Locate = ([index, key]) => {
    const row = typeof index === 'number' ? rows[index] : undefined
    const cell = row?.[columns.indexOf(key as Heading)] ?? row?.[0]
    return cell && { line: cell.line, column: cell.column }
  }
  return { value, locate }
}

const numberOr = (text: string): number | string =>
  /^[-+]?[\d.]+(e[-+]?\d+)?$/i.test(text) ? Number(text) : text

function tooLong(file: string, rows: readonly CsvCell[][], most: number): Problem[] {
  return rows.filter(cells => cells.length > most).map(cells => ({
    file, path: '', line: cells[most]!.line, column: cells[most]!.column,
    expected: `${most} cells`, got: `${cells.length}`,
  }))
}

/** A position holds one part, and a part is on one position. */
function twice(value: unknown, locate: Locate): Found[] {
  if (!Array.isArray(value)) return []
  return (['position', 'part'] as const).flatMap(key => {
    const firsts = new Map<unknown, number>()
    return value.flatMap((entry: unknown, i): Found[] => {
      const name = (entry as Partial<Record<Heading, unknown>> | null)?.[key]
      if (typeof name !== 'string') return []
      const first = firsts.get(name)
      if (first === undefined) { firsts.set(name, i); return [] }
      const line = locate([first, key])?.line
      const where = line === undefined ? '' : `, as on line ${line}`
      const got = `${JSON.stringify(name.slice(0, 60))} again${where}`
      return [{ path: [i, key], expected: `each ${key} once`, got }]
    })
  })
}

const byPlace = (a: Problem, b: Problem): number =>
  (a.line ?? 0) - (b.line ?? 0) || (a.column ?? 0) - (b.column ?? 0)
