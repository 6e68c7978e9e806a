/** Tables and words that all sections of the record of a unit share. */
import { formatProbability, formatSi, formatWithU, noNumber } from '../base/format.ts'
import { html, type Content, type Markup } from './markup.ts'
import type { Compared, UnitRecordFigure } from './unit-record-schema.ts'

/** A heading, or one with the look of its cells. */
export type Column = string | { readonly heading: string; readonly look: 'num' | 'tight' }
export const number = (heading: string): Column => ({ heading, look: 'num' })
export const tight = (heading: string): Column => ({ heading, look: 'tight' })

/** A table of no more rows stays on one page of paper. */
const wholeMost = 14

/** The first cell of each row names it. */
export function table(
  caption: string, columns: readonly Column[], rows: readonly (readonly Content[])[], kind = '',
): Markup {
  const look = (column: Column | undefined): Markup | false =>
    typeof column === 'object' && html` class="${column.look}"`
  const heading = (column: Column): string => typeof column === 'string' ? column : column.heading
  return html`<div class="${rows.length <= wholeMost ? 'wide whole' : 'wide'}"><table${
    kind !== '' && html` class="${kind}"`}><caption>${caption}</caption>
<thead><tr>${columns.map(column => html`<th scope="col"${look(column)}>${heading(column)}</th>`)}</tr></thead>
<tbody>${rows.map(cells => html`<tr>${cells.map((cell, i) => i === 0
    ? html`<th scope="row"${look(columns[i])}>${cell}</th>` : html`<td${look(columns[i])}>${cell}</td>`)}</tr>
`)}</tbody></table></div>`
}

export const list = (items: readonly Content[]): Markup =>
  html`<ul>${items.map(item => html`<li>${item}</li>`)}</ul>`

/** With its uncertainty, or with the word that it has none. */
export function measuredWords(value: number | null, expandedU: number | null, unit: string): string {
  if (value === null) return noNumber
  return expandedU === null ? `${formatSi(value, unit, 4)}, uncertainty not known`
    : formatWithU(value, expandedU, unit)
}

/** Shares are shown in per cent; a damping factor is none. */
const isShare = ({ quantity, unit }: Pick<UnitRecordFigure, 'quantity' | 'unit'>): boolean =>
  unit === '1' && quantity !== 'damping factor'

export function figureWords(figure: UnitRecordFigure): string {
  const { value, expandedU, unit, bound } = figure
  const times = (one: number | null): number | null => one === null ? null : 100 * one
  const words = isShare(figure) ? measuredWords(times(value), times(expandedU), '%')
    : measuredWords(value, expandedU, unit)
  return bound === null ? words : `${bound} ${words}`
}

/** Below 0: so far past the bound. Of shares in percentage points. */
export function marginWords(
  margin: number | null, of: Pick<UnitRecordFigure, 'quantity' | 'unit'> | null,
): string {
  if (margin === null || of === null) return noNumber
  return isShare(of) ? formatSi(100 * margin, '%', 2) : formatSi(margin, of.unit, 2)
}

export function limitWords(low: number | null, high: number | null, unit: string): string {
  if (low !== null && high !== null) return `${formatSi(low, unit)} to ${formatSi(high, unit)}`
  if (high !== null) return `at most ${formatSi(high, unit)}`
  return low === null ? 'none' : `at least ${formatSi(low, unit)}`
}

export const comparedTable = (caption: string, compared: readonly Compared[]): Markup => table(caption, [
  'What was read', number('Value ± expanded uncertainty'),
  number('Limit'), number('Within, probably'), 'Grade',
  'Whose limit',
], compared.map(({ name, where, value, expandedU, unit, limitLow, limitHigh, pConform, grade, source }) => [
  [name, where].filter(Boolean).join(' '), measuredWords(value, expandedU, unit),
  limitWords(limitLow, limitHigh, unit), pConform === null ? noNumber : formatProbability(pConform), grade,
  source,
]))
