/**
 * Every reading of a run as CSV or JSON lines, made piece by piece: a night need not fit into memory as
 * text.
 */
import { csvLine, type Cell } from '../report/csv.ts'
import type { Channel } from '../schema/reading.ts'
import { qualities } from '../schema/reading.ts'
import type { RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'

const rowsPerPiece = 5000
const headings = ['run', 'channel', 'quantity', 'unit', 'at_ms', 'value', 'standard_uncertainty', 'quality']

/**
 * Values in SI units; `at_ms` is monotonic, as the record keeps it. A reading that is not good has no
 * value.
 */
export async function* readingsText(
  store: Store, run: RunRecord, channels: readonly Channel[], format: 'csv' | 'lines',
): AsyncGenerator<string, void, undefined> {
  const line = format === 'csv' ? csvLine : jsonLine
  if (format === 'csv') yield csvLine(headings)
  for (const channel of channels) {
    const series = await store.series(run.id, channel.index)
    let piece = ''
    for (let i = 0; i < series.atMs.length; i++) {
      const quality = qualities[series.quality[i]!] ?? 'missing'
      piece += line([
        run.id, channel.name, channel.quantity, channel.unit, series.atMs[i],
        quality === 'good' ? series.value[i] : null,
        quality === 'good' ? series.u[i] : null, quality,
      ])
      if (i % rowsPerPiece === rowsPerPiece - 1) { yield piece; piece = '' }
    }
    if (piece !== '') yield piece
  }
}

function jsonLine(cells: readonly Cell[]): string {
  return `${JSON.stringify(Object.fromEntries(headings.map((name, i) => [name, cells[i] ?? null])))}\n`
}
