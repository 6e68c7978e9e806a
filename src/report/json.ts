/** The record as JSON: everything, in SI units; null where there is no number. */
import type { PartTestRecord, RunTestRecord } from './record.ts'

/** The whole record with a format name and version, so that a later reader knows what it holds. */
export function recordJson(record: RunTestRecord | PartTestRecord): string {
  return `${JSON.stringify({ format: 'nightbench test record', version: 1, ...record }, null, 2)}\n`
}
