/** Inserts the rows of a batch: many a statement, because the call costs more than the row. */
import type { Db } from './open.ts'
import type { Columns } from './columns.ts'
import { rowKey, slabOfOrdinal, slabRows } from './slabs.ts'

const groupRows = 32
const columnCount = 7
const row = `(${Array(columnCount).fill('?').join(', ')})`
const insertSql = (rows: number): string =>
  `INSERT INTO readings (id, run, channel, at_ms, value, u, quality) VALUES ${Array(rows).fill(row).join(', ')}`

export class ReadingWriter {
  #one; #group; #openSlab; #widenSlab; #slab
  #oneValues: number[] = Array<number>(columnCount).fill(0)
  #groupValues: number[] = Array<number>(columnCount * groupRows).fill(0)

  constructor(db: Db) {
    this.#one = db.prepare(insertSql(1))
    this.#group = db.prepare(insertSql(groupRows))
    this.#openSlab = db.prepare('INSERT INTO slabs (run, number, first_ms, last_ms) VALUES (?, ?, ?, ?)')
    this.#widenSlab = db.prepare(
      'UPDATE slabs SET first_ms = min(first_ms, ?), last_ms = max(last_ms, ?) WHERE run = ? AND number = ?')
    this.#slab = db.prepare('SELECT id FROM slabs WHERE run = ? AND number = ?').pluck()
  }

  /** Inserts all rows of `columns`; the first arrived as number `first` of the run. */
  insert(run: number, columns: Columns, first: number): void {
    for (let from = 0; from < columns.count;) {
      const room = slabRows - (first + from) % slabRows
      const to = Math.min(columns.count, from + room)
      this.#insertInto(this.#slabFor(run, columns, from, to, first + from), run, columns, from, to, first)
      from = to
    }
  }

  #insertInto(slabId: number, run: number, columns: Columns, from: number, to: number, first: number): void {
    let i = from
    for (; i + groupRows <= to; i += groupRows) {
      for (let g = 0; g < groupRows; g++) fill(this.#groupValues, g * columnCount, slabId, run, columns, i + g, first)
      this.#group.run(this.#groupValues)
    }
    for (; i < to; i++) {
      fill(this.#oneValues, 0, slabId, run, columns, i, first)
      this.#one.run(this.#oneValues)
    }
  }

  #slabFor(run: number, columns: Columns, from: number, to: number, ordinal: number): number {
    let firstMs = Infinity
    let lastMs = -Infinity
    for (let i = from; i < to; i++) {
      const atMs = columns.atMs[i]!
      if (atMs < firstMs) firstMs = atMs
      if (atMs > lastMs) lastMs = atMs
    }
    const number = slabOfOrdinal(ordinal)
    if (ordinal % slabRows === 0) return Number(this.#openSlab.run(run, number, firstMs, lastMs).lastInsertRowid)
    this.#widenSlab.run(firstMs, lastMs, run, number)
    return this.#slab.get(run, number) as number
  }
}

function fill(
  values: number[], at: number, slabId: number, run: number, columns: Columns, i: number, first: number,
): void {
  const channel = columns.channel[i]!
  values[at] = rowKey(slabId, channel, first + i)
  values[at + 1] = run
  values[at + 2] = channel
  values[at + 3] = columns.atMs[i]!
  // SQLite keeps NaN as NULL.
  values[at + 4] = columns.value[i]!
  values[at + 5] = columns.u[i]!
  values[at + 6] = columns.quality[i]!
}
