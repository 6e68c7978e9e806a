/** What is wrong with one line of a list, with the place of the cell it stands in. */
import type { Problem } from '../base/errors.ts'
import type { Cell, Column } from './headings.ts'

export interface Row { readonly line: number; readonly cells: ReadonlyMap<Column, Cell> }

export class Told {
  readonly problems: Problem[] = []
  readonly remarks: string[] = []
  readonly #file: string
  /** Cells without what was read of them already, which then says nothing more. */
  readonly #left = new Map<Column, string>()
  readonly row: Row

  constructor(file: string, row: Row) {
    this.#file = file
    this.row = row
  }

  /** The text of a cell; empty where the list has no such column or nothing in it. */
  text(column: Column): string { return this.row.cells.get(column)?.text ?? '' }

  has(column: Column): boolean { return this.text(column).trim() !== '' }

  /** What is left to be read of a cell, its signs at their places; `text` where nothing was taken out. */
  left(column: Column): string { return this.#left.get(column) ?? this.text(column) }

  /** Takes a stretch out of a cell, with the sign that parts it from what stands beside it. */
  take(column: Column, from: number, to: number): void {
    const text = this.left(column)
    const before = /[\s,;/]*$/.exec(text.slice(0, from))![0].length
    const after = /^[\s,;/]*/.exec(text.slice(to))![0].length
    const [start, end] = [from - before, to + after]
    this.#left.set(column, text.slice(0, start) + ' '.repeat(end - start) + text.slice(end))
  }

  /** A problem in a cell, `at` signs behind its beginning; of the whole line where there is no such cell. */
  wrong(column: Column, expected: string, got: string, at = 0): void {
    const cell = this.row.cells.get(column)
    const place = { line: cell?.line ?? this.row.line, column: (cell?.column ?? 1) + at }
    this.problems.push({ file: this.#file, path: column, ...place, expected, got })
  }
}

/** Text as a message shows it. */
export const quoted = (text: string): string => {
  const plain = text.trim()
  return plain === '' ? 'nothing' : JSON.stringify(plain.length > 40 ? `${plain.slice(0, 39)}…` : plain)
}
