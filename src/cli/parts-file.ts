/** Parts lists from files: CSV, TSV, or lines of text. */
import type { Problem } from '../base/errors.ts'
import { columnOf, type Cell } from '../parts/headings.ts'
import { readReels, readTable, type ReadParts } from '../parts/read-list.ts'
import { readWhole } from '../schema/read-file.ts'
import { parseCsv } from './csv.ts'

/**
 * Reads a parts list. Tabs in the first line make it TSV, known headings in it CSV; a text without either is
 * one reel a line. FILE_UNREADABLE; what is wrong with lines comes with the lines that were understood.
 */
export function readPartsFile(file: string): ReadParts {
  return readPartsText(file, readWhole(file, 'a parts list').replace(/^\ufeff/, ''))
}

/** `file` is the name for messages; its ending settles what its first line leaves open. */
export function readPartsText(file: string, text: string): ReadParts {
  const first = text.split(/\r?\n/).find(line => line.trim() !== '') ?? ''
  const hasHeading = first.split(/[,;\t]/).some(cell => columnOf(cell) !== null)
  if (!hasHeading && !/\.(csv|tsv|tab)$/i.test(file)) {
    return readReels(file, text.split(/\r?\n/).map((line, i) => ({ text: line, line: i + 1, column: 1 })))
  }
  if (first.includes('\t')) return readTable(file, tabRecords(text))
  const { records, faults } = parseCsv(text)
  const { list, problems } = readTable(file, records)
  return { list, problems: [...faults.map((fault): Problem => ({ file, path: '', ...fault })), ...problems] }
}

/** Tab-separated lines; a cell in quotes, as some tables write it, without them. */
function tabRecords(text: string): Cell[][] {
  return text.split(/\r?\n/).flatMap((content, i) => {
    let column = 1
    const cells = content.split('\t').map((cell): Cell => {
      const begun = column
      column += cell.length + 1
      const inner = /^\s*"(.*)"\s*$/.exec(cell)?.[1]
      return { text: inner === undefined ? cell : inner.replaceAll('""', '"'), line: i + 1, column: begun }
    })
    return cells.some(cell => cell.text.trim() !== '') ? [cells] : []
  })
}
