/**
 * What each position of a tray adds, as bare wires and the empty tray show it: found once, on record, taken
 * over by later sessions where the empty positions still read the same.
 */
import { createHash } from 'node:crypto'
import { z } from 'zod'
import { formatSi } from '../base/format.ts'
import type { BenchFile } from '../schema/bench.ts'
import { nullRow, usualResiduals as usual, type NullRow } from '../schema/compensation.ts'
import type { ScannerPath } from '../schema/instrument-classes.ts'
import type { Residuals } from '../schema/jig.ts'
import type { RunEvent, RunHead } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { residualsOf } from '../screening/residuals.ts'
import type { CommonRead } from '../screening/tray-checks.ts'
import { trayExtents } from '../screening/tray-path.ts'
import { jigHash } from './compensation.ts'
import { runsBack } from './runs-back.ts'
import { screenSequence } from './settled.ts'

/** So many sessions back it is looked for. */
const sessionsMost = 100
/** Older than this, wires count only with all that is open of the path (common practice). */
const freshMs = 24 * 3_600_000

export const trayNullEvent = 'tray-compensation'
export const trayOpenEvent = 'tray-empty'

const common = z.strictObject({
  farad: z.number(), siemens: z.number(), uF: z.number(), omega: z.number(),
})
const opensRead = z.strictObject({ common, closed: z.record(z.string(), common) })
const positionRows = z.record(z.string(), z.array(nullRow))

type Noted = Pick<RunEvent, 'kind' | 'severity' | 'text' | 'data'>

/** What is on record of wires at all positions: `rows` as JSON, since data of events are plain. */
export const nullsNoted = (of: string, rows: TrayKnown['rows']): Noted => ({
  kind: trayNullEvent, severity: 'info', text: `the tray is compensated: ${trayNullsInWords(rows)}`,
  data: { of, rows: JSON.stringify(rows) },
})
/** The same of the empty tray. */
export const opensNoted = (of: string, text: string, { common, closed }: TrayOpens): Noted => ({
  kind: trayOpenEvent, severity: 'info', text, data: { of, read: JSON.stringify({ common, closed }) },
})

export interface TrayOpens {
  readonly common: CommonRead
  readonly closed: Readonly<Record<string, CommonRead>>
}
export interface TrayKnown {
  readonly run: string
  readonly wallMs: number
  readonly rows: Readonly<Record<string, readonly NullRow[]>>
  /** As the tray was when the wires were read. */
  readonly opens: TrayOpens | null
}

/** Of the jig with its tray, of what measures there, and of the scanner. */
export function trayHash(file: BenchFile): string {
  const { roles: { scanner }, instruments } = file
  const name = typeof scanner === 'object' ? scanner.instrument : scanner
  const those = [jigHash(file), name === undefined ? null : instruments[name]?.identity ?? null]
  return createHash('sha256').update(JSON.stringify(those)).digest('hex').slice(0, 16)
}

export interface TrayRecord {
  /** The newest wires of this tray, whatever their age: they also prove which channel leads where. */
  readonly known: TrayKnown | null
  /** The newest time that the tray was seen empty, within a day. */
  readonly opens: TrayOpens | null
}

export async function trayRecord(store: Store, of: string, nowWallMs: number): Promise<TrayRecord> {
  let left = sessionsMost
  let opens: TrayOpens | null = null
  const isOne = ({ sequence }: RunHead): boolean => sequence === screenSequence && left-- > 0
  for await (const { id } of runsBack(store, isOne)) {
    const events = await store.events(id)
    opens ??= opensIn(events, of, at => isFresh(at, nowWallMs))
    const wired = events.findLast(event => event.kind === trayNullEvent && event.data?.['of'] === of)
    const rows = wired && parsedAs(positionRows, wired.data?.['rows'])
    if (!wired || !rows) continue
    const known = { run: id, wallMs: wired.wallMs, rows, opens: opensIn(events, of, () => true) }
    return { known, opens }
  }
  return { known: null, opens }
}

export const isFresh = (wallMs: number, nowWallMs: number): boolean =>
  nowWallMs >= wallMs && nowWallMs - wallMs <= freshMs

function opensIn(
  events: readonly RunEvent[], of: string, counts: (wallMs: number) => boolean,
): TrayOpens | null {
  const last = events.findLast(event => event.kind === trayOpenEvent && event.data?.['of'] === of)
  return last && counts(last.wallMs) ? parsedAs(opensRead, last.data?.['read']) : null
}

/** Null for what cannot be read. */
function parsedAs<T>(shape: z.ZodType<T>, text: unknown): T | null {
  try {
    return shape.parse(JSON.parse(String(text)))
  } catch { return null }
}

const root3 = Math.sqrt(3)

/** What is taken off at a position by these rows, found at `wallMs`. */
export function trayResiduals(
  rows: readonly NullRow[] | null, path: ScannerPath, { wallMs, isAged }: { wallMs: number; isAged: boolean },
): Residuals {
  const used = rows && (isAged ? rows.map(row => aged(row, path)) : rows)
  return residualsOf(used && { run: '', wallMs, rows: used }, trayExtents(path))
}

/** Contacts and leads may have become anything that they may be at all. */
function aged(row: NullRow, path: ScannerPath): NullRow {
  const omega = 2 * Math.PI * row.frequencyHz
  const most = row.frequencyHz === 0 ? usual.leadsOhm + path.seriesOhm
    : Math.hypot(usual.seriesOhm + path.seriesOhm, omega * (usual.seriesH + path.seriesH))
  return { ...row, shortU: Math.hypot(row.shortU, most / root3) }
}

/** `0.31 Ω to 0.62 Ω in line on two wires, 27 pF to 29 pF beside`. */
export function trayNullsInWords(positions: Readonly<Record<string, readonly NullRow[]>>): string {
  const all = Object.values(positions)
  const range = (of: (rows: readonly NullRow[]) => number | undefined, unit: string): string | null => {
    const values = all.flatMap(rows => of(rows) ?? [])
    if (values.length === 0) return null
    return `${formatSi(Math.min(...values), unit, 2)} to ${formatSi(Math.max(...values), unit, 2)}`
  }
  const leads = range(rows => rows.find(({ frequencyHz }) => frequencyHz === 0)?.shortOhm, 'Ω')
  const highest = (rows: readonly NullRow[]): NullRow | undefined =>
    [...rows].sort((a, b) => b.frequencyHz - a.frequencyHz)[0]
  const beside = range(rows => {
    const row = highest(rows)
    return row === undefined || row.openSusceptanceS === null ? undefined
      : row.openSusceptanceS / (2 * Math.PI * row.frequencyHz)
  }, 'F')
  return [leads && `${leads} in line on two wires`, beside && `${beside} beside`]
    .filter(text => text !== null).join(', ')
}
