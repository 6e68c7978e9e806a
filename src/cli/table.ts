/** Plain text tables. */
export interface Column { heading: string; right?: boolean }

/**
 * Rows under headings, columns two blanks apart, no line longer than `width`. Control characters are taken
 * out.
 */
export function renderTable(
  columns: readonly Column[], rows: readonly (readonly string[])[], width = Infinity
): string[] {
  const cells = [
    columns.map(column => column.heading), ...rows.map(row => columns.map((_, i) => printable(row[i] ?? '')))
  ]
  const widths = columns.map((_, i) => Math.max(...cells.map(row => row[i]!.length)))
  return cells.map(row => {
    const padded = row.map(
      (cell, i) => columns[i]!.right ? cell.padStart(widths[i]!) : cell.padEnd(widths[i]!)
    )
    return clip(padded.join('  ').trimEnd(), width)
  })
}

/** Text from outside as a terminal may show it: without control characters, so nothing moves the cursor. */
export function printable(text: string): string {
  return text.replace(/[\u0000-\u001f\u007f-\u009f\u2028-\u202e\u2066-\u2069]+/g, ' ')
}

export function clip(line: string, width: number): string {
  return line.length > width ? `${line.slice(0, Math.max(0, width - 1))}…` : line
}
