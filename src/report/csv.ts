/** The record as a table for a spreadsheet, and the rules every CSV of ours follows (RFC 4180). */
import { dispositionWords, gradeWords, isOfPosition, type PartResult } from '../schema/run.ts'
import type { InService } from '../schema/service.ts'
import { isAtJig } from './setup.ts'
import type { PartTestRecord, RunTestRecord } from './record.ts'

export type Cell = string | number | null | undefined

const headings = [
  'run', 'started_utc', 'run_state', 'position', 'part', 'profile', 'grade', 'provisional', 'disposition',
  'reason',
  'criterion', 'value', 'expanded_uncertainty', 'unit', 'limit_low', 'limit_high', 'guard_band', 'p_conform',
  'criterion_grade', 'limit_source', 'person', 'software', 'chain_head',
  'touch_at_end', 'touch_said_utc', 'end_v', 'end_v_expanded_uncertainty', 'recovered_v',
  'close_from_utc', 'close_until_utc',
  'service_c', 'service_v', 'life_h', 'life_low_h', 'life_high_h', 'derated_v', 'service_cautions',
  'service_made_of',
]

/** One row a criterion, in SI units; a part without criteria, or without result, has one row. */
export function recordCsv(record: RunTestRecord | PartTestRecord): string {
  const runs = 'runs' in record ? record.runs : [record]
  return csvLine(headings) + runs.map(runRows).join('')
}

function runRows({ run, parts, chainHead }: RunTestRecord): string {
  const started = new Date(run.startedWallMs).toISOString()
  return parts.map(({ position, part, profile, result, end, closes, inService }) => {
    const criteria = result && result.criteria.length > 0 ? result.criteria : [null]
    return criteria.map(entry => csvLine([
      run.id, started, run.state, position, part, profile, result && gradeOf(result),
      result && !isOfPosition(result) ? String(result.provisional) : null, result && dispositionWords(result),
      result?.reason,
      entry?.name, entry?.value, entry?.expandedU, entry?.unit, entry?.limitLow, entry?.limitHigh,
      entry?.guardBand,
      entry?.pConform, entry?.grade, entry?.source, run.person, run.software, chainHead,
      // Parts come and go at a jig: nothing stands there at the end.
      ...isAtJig(run) ? [null, null] : [end.words, utc(end.wallMs)],
      end.volts?.value, end.volts?.expandedU, end.recoveredV,
      utc(closes?.fromWallMs), utc(closes?.toWallMs), ...serviceCells(inService),
    ])).join('')
  }).join('')
}

/** An estimate, of a new part: its range and what it is made of go with it. */
const serviceCells = (of: InService | null): Cell[] => of === null ? Array<Cell>(8).fill(null) : [
  of.temperatureC, of.volts, of.life?.hours, of.life?.lowH, of.life?.highH, of.deratedV,
  of.cautions.join('; '), of.madeOf.join('; '),
]

/** Of a position in words: a sheet that counts `accept` does not count it as a part. */
const gradeOf = (result: PartResult): string => isOfPosition(result) ? gradeWords(result) : result.grade

const utc = (wallMs: number | null | undefined): string | null =>
  wallMs === null || wallMs === undefined ? null : new Date(wallMs).toISOString()

/**
 * One line with CRLF. Text that a spreadsheet would run as a formula, also behind blanks or with the wide
 * signs of some keyboards, gets an apostrophe before it.
 */
export function csvLine(cells: readonly Cell[]): string { return `${cells.map(csvCell).join(',')}\r\n` }

function csvCell(cell: Cell): string {
  if (cell === null || cell === undefined) return ''
  if (typeof cell === 'number') return Number.isFinite(cell) ? String(cell) : ''
  const safe = /^([\t\r\n]|[\s\u0000]*[=+\-@\uff1d\uff0b\uff0d\uff20])/.test(cell) ? `'${cell}` : cell
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe
}
