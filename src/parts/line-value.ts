/** The value of a line, and the count that may stand before it: `4k7`, `200 x 4k7 5 %`. */
import { decode } from '../marks/decode.ts'
import type { Mark, Sort } from '../marks/mark.ts'
import { written } from '../marks/written.ts'
import { aKind, type PartKind } from '../schema/parts-list.ts'
import { quoted, type Told } from './told.ts'

export interface LineValue {
  readonly mark: Mark | null
  /** What stands in the list, without the count. */
  readonly text: string
  readonly count: number | null
}

const sorts: Partial<Record<PartKind, Sort>> = {
  resistor: 'resistor', potentiometer: 'resistor', thermistor: 'resistor', capacitor: 'capacitor',
  inductor: 'inductor',
}

/** How values of such parts are read; undefined for parts whose value is a type number or nothing. */
export function sortOfKind(kind: PartKind): Sort | undefined { return sorts[kind] }

const counted = /^\s*(\d{1,6})\s*[x×*]\s*(?=\S)/i

/** Reads the value cell; what cannot be read, or can be read in several ways, is told and not decided. */
export function readValue(told: Told, sort: Sort | undefined, kind: PartKind | null): LineValue {
  const cell = told.text('value')
  const prefix = counted.exec(cell)
  const from = prefix?.[0].length ?? 0
  const text = cell.slice(from)
  const value = { text: text.trim(), count: prefix ? Number(prefix[1]) : null }
  if (kind !== null && sort === undefined) return { ...value, mark: null }
  if (value.text === '') {
    if (kind !== null) told.wrong('value', `a value of ${aKind(kind)}`, 'nothing')
    return { ...value, mark: null }
  }
  // Of a part whose kind is asked for anyway, only a reel is judged by its value.
  if (kind === null && told.has('designator')) return { ...value, mark: null }
  if (/^\s*[\d.,]+\s*\+\s*[\d.,]+/.test(text)) {
    const name = told.text('designator').trim() || 'C1'
    const expected = `one value: sections of one can are lines of their own, like ${name}A and ${name}B`
    told.wrong('value', expected, quoted(text), from)
    return { ...value, mark: null }
  }
  const decoded = decode(text, { sort, origin: 'list' })
  if (decoded.ok) return { ...value, mark: decoded.mark }
  const ways = decoded.readings.map(mark => written(mark.sort, mark.value)).join(' or ')
  for (const { column, expected, got } of decoded.problems) {
    told.wrong('value', ways === '' ? expected : `${expected} (${ways})`, got, from + column - 1)
  }
  return { ...value, mark: null }
}
