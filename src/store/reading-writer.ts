/** Inserts the rows of a batch into their slabs. */
import type { Db } from './open.ts'
import type { Columns } from './columns.ts'
import { GroupInsert } from './group-insert.ts'
import { rowKey, slabOfOrdinal, slabRows } from './slabs.ts'

export class ReadingWriter {
  #rows; #openSlab; #widenSlab; #slab

  constructor(db: Db) {
    this.#rows = new GroupInsert(db, 'readings', ['id', 'run', 'channel', 'at_ms', 'value', 'u', 'quality'])
    this.#openSlab = db.prepare('INSERT INTO slabs (run, number, first_ms, last_ms) VALUES (?, ?, ?, ?)')
    this.#widenSlab = db.prepare(
      'UPDATE slabs SET first_ms = min(first_ms, ?), last_ms = max(last_ms, ?) WHERE run = ? AND number = ?')
    this.#slab = db.prepare('SELECT id FROM slabs WHERE run = ? AND number = ?').pluck()
  }

  /** Inserts all rows of `columns`; the first arrived as number `first` of the run. */
  insert(run: number, columns: Columns, first: number): void {
    this.#rows.clear()
    const { channel, atMs, value, u, quality } = columns
    for (let from = 0; from < columns.count;) {
      const to = Math.min(columns.count, from + slabRows - (first + from) % slabRows)
      const slabId = this.#slabFor(run, columns, from, to, first + from)
      for (let i = from; i < to; i++) {
        const key = rowKey(slabId, channel[i]!, first + i)
        this.#rows.add(key, run, channel[i]!, atMs[i]!, value[i]!, u[i]!, quality[i]!)
      }
      from = to
    }
    this.#rows.flush()
  }

  /** The slab of the rows `from` to `to`, made to cover their times. */
  #slabFor(run: number, columns: Columns, from: number, to: number, ordinal: number): number {
    let firstMs = Infinity
    let lastMs = -Infinity
    for (let i = from; i < to; i++) {
      const atMs = columns.atMs[i]!
      if (atMs < firstMs) firstMs = atMs
      if (atMs > lastMs) lastMs = atMs
    }
    const number = slabOfOrdinal(ordinal)
    if (ordinal % slabRows === 0) {
      return Number(this.#openSlab.run(run, number, firstMs, lastMs).lastInsertRowid)
    }
    this.#widenSlab.run(firstMs, lastMs, run, number)
    return this.#slab.get(run, number) as number
  }
}
