/**
 * Samples as a table: one line each, cells parted by commas, semicolons, tabs or blanks, with or without a
 * line of headings. A column headed `time`, `t` or `s` gives the rate; without one the rate must be told.
 */
import { BenchError, type Problem } from '../base/errors.ts'
import { invalidFile } from '../schema/read-file.ts'
import type { Recording } from './recording.ts'

const timeHeading = /^(t|time|s|seconds?)(\s*[[(/].*)?$/i
/** Times in a file may be rounded this far from equal steps, as a share of a step. */
const stepSlack = 0.01
const problemsMost = 50

/** Values in volts. FILE_INVALID with line and column; USAGE where no rate is told. */
export function readTable(text: string, file: string, rateHz?: number): Recording {
  const lines = text.replace(/^\ufeff/, '').split(/\r?\n/)
  const parting = partingOf(lines.find(line => line.trim() !== '') ?? '')
  const problems: Problem[] = []
  let headings: string[] | null = null
  const rows: number[][] = []
  for (const [i, line] of lines.entries()) {
    if (line.trim() === '' || line.startsWith('#')) continue
    const cells = line.trim().split(parting).map(cell => cell.trim())
    const values = cells.map(cell => numberOf(cell, parting))
    if (rows.length === 0 && headings === null && values.every(Number.isNaN)) { headings = cells; continue }
    const width = rows[0]?.length ?? values.length
    const wrong = values.findIndex(value => !Number.isFinite(value))
    if (wrong >= 0) problems.push(problem(file, i, line.indexOf(cells[wrong]!), 'a number', cells[wrong]!))
    else if (values.length !== width) problems.push(problem(file, i, 0, `${width} cells`, `${values.length}`))
    else rows.push(values)
    if (problems.length >= problemsMost) break
  }
  if (problems.length > 0) throw invalidFile(file, problems)
  if (rows.length < 4) throw faulty(file, '4 samples or more', `${rows.length}`)
  return recordingOf(rows, headings, file, rateHz)
}

function recordingOf(
  rows: readonly number[][], headings: string[] | null, file: string, rateHz?: number,
): Recording {
  const timeAt = headings?.findIndex(heading => timeHeading.test(heading)) ?? -1
  const sampleHz = timeAt >= 0 ? rateOf(rows.map(row => row[timeAt]!), file) : rateHz
  if (sampleHz === undefined) {
    throw new BenchError('USAGE', 'the sampling rate is not known', {
      file, expected: 'a column headed time, in seconds, or --rate', got: 'neither',
    })
  }
  const channels = rows[0]!.flatMap((_, column) =>
    column === timeAt ? [] : [Float64Array.from(rows, row => row[column]!)])
  if (channels.length === 0) throw faulty(file, 'a column of volts', 'times alone')
  return { channels, sampleHz, unit: 'V', format: 'numbers', step: 0 }
}

/** By first and last; every time between must lie where equal steps have it. */
function rateOf(times: readonly number[], file: string): number {
  const stepS = (times.at(-1)! - times[0]!) / (times.length - 1)
  const slackS = stepSlack * Math.abs(stepS)
  const off = times.findIndex((time, i) => !(Math.abs(time - times[0]! - i * stepS) <= slackS))
  if (stepS > 0 && off < 0) return 1 / stepS
  const got = off < 0 ? 'times that do not rise' : `${times[off]} s out of step`
  throw faulty(file, 'times in equal steps', got)
}

const faulty = (file: string, expected: string, got: string): BenchError =>
  invalidFile(file, [{ file, path: '', expected, got }])

const partingOf = (line: string): RegExp | string =>
  line.includes(';') ? ';' : line.includes('\t') ? '\t' : line.includes(',') ? ',' : /\s+/

/** With semicolons a comma is the decimal point. */
function numberOf(cell: string, parting: RegExp | string): number {
  const text = parting === ';' ? cell.replace(',', '.') : cell
  return /^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i.test(text) ? Number(text) : NaN
}

const problem = (file: string, line: number, at: number, expected: string, got: string): Problem =>
  ({ file, path: '', line: line + 1, column: at + 1, expected, got: `"${got.slice(0, 40)}"` })
