/** Reads the columns of one channel. */
import type { Channel } from '../schema/reading.ts'
import type { Series } from '../schema/store.ts'
import type { Db } from './open.ts'
import { channelKeys, slabBaseSql } from './slabs.ts'
import type { Steps } from './steps.ts'

type Row = [number, number | null, number | null, number]

/** Slabs between two stops: a few milliseconds of work. */
const slabsPerStep = 1024

export class SeriesReader {
  #last; #rows

  constructor(db: Db) {
    this.#last = db.prepare('SELECT max(number) FROM slabs WHERE run = ?').pluck()
    this.#rows = db.prepare(
      `SELECT r.at_ms, r.value, r.u, r.quality FROM slabs s CROSS JOIN readings r
       ON r.id BETWEEN ${slabBaseSql} + CAST(? AS INTEGER) AND ${slabBaseSql} + CAST(? AS INTEGER)
       WHERE s.run = ? AND s.number >= ? AND s.number < ? AND s.last_ms >= ? AND s.first_ms <= ?
       AND r.at_ms >= ? AND r.at_ms <= ? ORDER BY s.number, r.id`).raw()
  }

  /** Readings with `fromMs` <= time <= `toMs`. */
  *read(run: number, channel: Channel, fromMs: number, toMs: number): Steps<Series> {
    const last = this.#last.get(run) as number | null ?? -1
    const keys = channelKeys(channel.index)
    const parts: Row[][] = []
    for (let slab = 0; slab <= last; slab += slabsPerStep) {
      if (slab > 0) yield
      parts.push(this.#rows.all(...keys, run, slab, slab + slabsPerStep, fromMs, toMs, fromMs, toMs) as Row[])
    }
    return columnsOf(channel, inOrder(parts.flat()))
  }
}

/** Rows arrive in order of time, but for a run that another process took up with another monotonic start. */
function inOrder(rows: Row[]): Row[] {
  for (let i = 1; i < rows.length; i++) {
    if (rows[i]![0] < rows[i - 1]![0]) return rows.sort((a, b) => a[0] - b[0])
  }
  return rows
}

function columnsOf(channel: Channel, rows: readonly Row[]): Series {
  const atMs = new Float64Array(rows.length)
  const value = new Float64Array(rows.length)
  const u = new Float64Array(rows.length)
  const quality = new Uint8Array(rows.length)
  for (let i = 0; i < rows.length; i++) {
    const row = rows[i]!
    atMs[i] = row[0]
    value[i] = row[1] ?? NaN
    u[i] = row[2] ?? NaN
    quality[i] = row[3]
  }
  return { channel, atMs, value, u, quality }
}
