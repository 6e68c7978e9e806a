/** Inserts rows of numbers many a statement, because the call costs more than the row. */
import { assert } from '../base/assert.ts'
import type { Db } from './open.ts'

/** Rows a statement. Most rows go by the first, what is left at the end by the others. */
const groupSizes = [32, 8, 1] as const
const rowsMax = groupSizes[0]
const width = 7

/**
 * Rows of seven numbers for one table. Nothing is sure to be inserted before `flush`. SQLite keeps NaN as
 * NULL.
 */
export class GroupInsert {
  #groups
  #values: number[] = Array<number>(rowsMax * width).fill(0)
  #filled = 0

  constructor(db: Db, table: string, columns: readonly string[]) {
    assert(columns.length === width, 'a group insert is for seven columns')
    const row = `(${columns.map(() => '?').join(', ')})`
    this.#groups = groupSizes.map(rows => ({
      rows, insert: db.prepare(
        `INSERT INTO ${table} (${columns.join(', ')}) VALUES ${Array(rows).fill(row).join(', ')}`
      ),
    }))
  }

  add(a: number, b: number, c: number, d: number, e: number, f: number, g: number): void {
    const values = this.#values
    const at = this.#filled
    values[at] = a
    values[at + 1] = b
    values[at + 2] = c
    values[at + 3] = d
    values[at + 4] = e
    values[at + 5] = f
    values[at + 6] = g
    this.#filled = at + width
    if (this.#filled === values.length) {
      this.#filled = 0
      this.#groups[0]!.insert.run(values)
    }
  }

  /** Inserts what is left. */
  flush(): void {
    let at = 0
    for (const { rows, insert } of this.#groups) {
      for (const step = rows * width; at + step <= this.#filled; at += step) {
        insert.run(this.#values.slice(at, at + step))
      }
    }
    this.#filled = 0
  }

  /** Forgets what is left: the transaction it belonged to has failed. */
  clear(): void { this.#filled = 0 }
}
