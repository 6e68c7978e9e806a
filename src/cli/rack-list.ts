/** The rack list: what a person has put on which position. YAML, JSON or CSV. */
import { readFileSync, statSync } from 'node:fs'
import { z } from 'zod'
import type { Problem } from '../base/errors.ts'
import { fileFault } from '../base/file-fault.ts'
import { fileBytesMax, invalidFile, loadFile, parseWith } from '../schema/read-file.ts'
import { loadedPart, type LoadedPart } from '../schema/run.ts'

const headings = ['position', 'part', 'profile', 'condition', 'note'] as const
/** A rack list as YAML or JSON holds it. */
export const rackList = z.array(loadedPart).min(1)

/**
 * Reads a rack list: a list in YAML or JSON, or CSV (RFC 4180) with the headings position, part, profile
 * and, if
 * wanted, condition and note, in any order. FILE_UNREADABLE or FILE_INVALID with every problem.
 */
export function readRackList(path: string): LoadedPart[] {
  const { parts, lines } = path.toLowerCase().endsWith('.csv')
    ? readCsvRack(path) : { parts: loadFile(path, rackList, 'a rack list'), lines: null }
  const problems = twice(path, parts, lines)
  if (problems.length > 0) throw invalidFile(path, problems)
  return parts
}

function readCsvRack(path: string): { parts: LoadedPart[]; lines: number[] } {
  const [head, ...rows] = csvRecords(readText(path))
  const names = (head?.cells ?? []).map(cell => cell.trim().toLowerCase())
  const problems = headProblems(path, names)
  const parts: LoadedPart[] = []
  const lines: number[] = []
  for (const { cells, line } of problems.length > 0 ? [] : rows) {
    if (cells.length > names.length) {
      problems.push({ file: path, path: '', line, expected: `${names.length} cells`, got: `${cells.length}` })
      continue
    }
    const given = names.map((name, i) => [name, (cells[i] ?? '').trim()] as const)
    const parsed = parseWith(loadedPart, Object.fromEntries(given.filter(([, text]) => text !== '')), {
      file: path, locate: () => ({ line, column: 1 }),
    })
    if (parsed.ok) { parts.push(parsed.value); lines.push(line) }
    else problems.push(...parsed.problems)
  }
  if (problems.length === 0 && parts.length === 0) {
    problems.push({ file: path, path: '', expected: 'at least one part', got: 'none' })
  }
  if (problems.length > 0) throw invalidFile(path, problems)
  return { parts, lines }
}

function headProblems(path: string, names: readonly string[]): Problem[] {
  const at = { file: path, path: '', line: 1, column: 1 }
  const missing = headings.slice(0, 3).filter(name => !names.includes(name))
  const strange = names.filter(name => !(headings as readonly string[]).includes(name))
  const double = names.filter((name, i) => names.indexOf(name) !== i)
  return [
    ...missing.map(name => ({ ...at, expected: `a heading "${name}"`, got: names.join(', ') || 'nothing' })),
    ...strange.map(name => ({ ...at, expected: `one of ${headings.join(', ')}`, got: `"${name}"` })),
    ...double.map(name => ({ ...at, expected: 'each heading once', got: `"${name}" twice` })),
  ]
}

/** A position holds one part, and a part is on one position. */
function twice(path: string, parts: readonly LoadedPart[], lines: readonly number[] | null): Problem[] {
  return (['position', 'part'] as const).flatMap(key => parts.flatMap((entry, i) =>
    parts.findIndex(other => other[key] === entry[key]) === i ? [] : [{
      file: path, ...lines ? { path: key, line: lines[i]!, column: 1 } : { path: `[${i}].${key}` },
      expected: `each ${key} once`, got: `"${entry[key]}" again`,
    }]))
}

function readText(path: string): string {
  try {
    if (!statSync(path).isFile()) throw new Error('not a regular file')
    if (statSync(path).size > fileBytesMax) throw new Error(`longer than ${fileBytesMax} bytes`)
    return new TextDecoder('utf-8', { fatal: true }).decode(readFileSync(path))
  } catch (error) {
    throw fileFault(path, 'cannot be read', 'a rack list', error)
  }
}

/**
 * Records of RFC 4180 with the line each begins on; comma, or semicolon where the first line has only
 * those.
 */
export function csvRecords(text: string): { cells: string[]; line: number }[] {
  const firstLine = /^[^\r\n]*/.exec(text)![0]
  const comma = firstLine.includes(';') && !firstLine.includes(',') ? ';' : ','
  const records: { cells: string[]; line: number }[] = []
  let cells: string[] = []
  let cell = ''
  let quoted = false
  let line = 1
  let begun = 1
  const endRecord = (): void => {
    cells.push(cell)
    if (cells.some(entry => entry.trim() !== '')) records.push({ cells, line: begun })
    cells = []
    cell = ''
    begun = line
  }
  for (let i = 0; i < text.length; i++) {
    const c = text[i]!
    if (c === '\n') line++
    if (quoted) {
      if (c !== '"') cell += c
      else if (text[i + 1] === '"') { cell += '"'; i++ } else quoted = false
    } else if (c === '"' && cell.trim() === '') { quoted = true; cell = '' }
    else if (c === comma) { cells.push(cell); cell = '' }
    else if (c === '\n') endRecord()
    else if (c !== '\r') cell += c
  }
  endRecord()
  return records
}
