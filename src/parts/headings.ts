/** Headings of people's lists, in any order and by their usual names. */
import type { Problem } from '../base/errors.ts'
import { nearest } from '../schema/problems.ts'

const columns = [
  'designator', 'quantity', 'value', 'tolerance', 'rating', 'voltage', 'power', 'kind', 'dielectric',
  'where', 'note',
] as const
export type Column = (typeof columns)[number]

const names: Record<Column, readonly string[]> = {
  designator: [
    'designator', 'designators', 'ref', 'refs', 'reference', 'references', 'refdes', 'referencedesignator',
  ],
  quantity: ['quantity', 'qty', 'count', 'pcs', 'pieces', 'amount'],
  value: ['value', 'val', 'values', 'valuetext'],
  tolerance: ['tolerance', 'tol'],
  rating: ['rating', 'ratings', 'rated'],
  voltage: ['voltage', 'volts', 'ratedvoltage', 'workingvoltage', 'v', 'ratedv'],
  power: ['power', 'watts', 'wattage', 'w', 'ratedpower', 'ratedw'],
  kind: ['kind', 'type', 'component', 'category', 'parttype'],
  dielectric: ['dielectric', 'material', 'technology'],
  where: ['where', 'place', 'location', 'position', 'across', 'sits'],
  note: ['note', 'notes', 'description', 'desc', 'comment', 'comments', 'remark', 'remarks'],
}

export interface Cell { readonly text: string; readonly line: number; readonly column: number }
export interface Head {
  /** Of each column of the file what it holds, null for one that is not used. */
  readonly columns: readonly (Column | null)[]
  readonly unused: readonly string[]
  readonly problems: readonly Problem[]
}

/** The column that a heading names, by letters alone; null for one that is not ours. */
export function columnOf(heading: string): Column | null {
  const plain = heading.toLowerCase().replace(/[^a-z]/g, '')
  return columns.find(column => names[column].includes(plain)) ?? null
}

/** What each column holds. A list needs values or designators; a heading twice is told. */
export function readHead(file: string, cells: readonly Cell[]): Head {
  const found = cells.map(({ text }) => columnOf(text))
  const problems = cells.flatMap((cell, i): Problem[] => found[i] && found.indexOf(found[i]) !== i ? [{
    file, path: '', line: cell.line, column: cell.column, expected: `one column for ${found[i]}`,
    got: `"${cell.text.trim()}" beside "${cells[found.indexOf(found[i])]!.text.trim()}"`,
  }] : [])
  if (!found.includes('designator') && !found.includes('value')) {
    const got = cells.map(({ text }) => text.trim()).filter(Boolean).join(', ').slice(0, 60) || 'nothing'
    const expected = 'headings, "designator" or "value" among them'
    problems.push({ file, path: '', line: 1, column: 1, expected, got })
  }
  const unused = cells.filter((_, i) => found[i] === null).map(({ text }) => text.trim()).filter(Boolean)
    .map(text => {
      const near = nearest(text, Object.values(names).flat())
      return near === undefined ? text : `${text} (is ${near} meant?)`
    })
  return { columns: found, unused, problems }
}
