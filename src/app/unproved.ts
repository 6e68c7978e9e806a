/**
 * Parts that may still hold a charge after a run: nobody starts another before a person proved them dead by
 * hand.
 */
import type { PositionState } from '../engine/position.ts'
import type { RunEvent, RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'

const words = (names: readonly string[]): string | null => names.length === 0 ? null
  : `${names.join(' ')} may still hold a charge: prove dead by hand, then acknowledge with what you found`

/**
 * Words for the parts of a run that ended, or null when every one that stood above `touchSafeV` was measured.
 */
export const unproved = (positions: readonly PositionState[], touchSafeV: number): string | null =>
  words(positions.filter(({ presumedV }) => presumedV !== null && presumedV >= touchSafeV)
    .map(({ spec }) => spec.name))

/**
 * The last run, and what went on the bus in it and was not measured dead after; nothing once a person
 * acknowledged. Null without a run.
 */
export async function openOnRecord(store: Store): Promise<{ run: RunRecord; positions: string[] } | null> {
  const [last] = await store.listRuns(1)
  if (!last) return null
  const open = new Set<string>()
  for (const event of await store.events(last.id)) note(open, event)
  return { run: last, positions: [...open].sort() }
}

/** The same in words, for a daemon that starts; null where nothing is open. */
export const unprovedOnRecord = async (store: Store): Promise<string | null> =>
  words((await openOnRecord(store))?.positions ?? [])

function note(open: Set<string>, { kind, position, data }: RunEvent): void {
  if (kind === 'acknowledged') open.clear()
  if (kind === 'connect') {
    for (const name of String(data?.['positions'] ?? '').split(' ').filter(Boolean)) open.add(name)
  }
  if (kind !== 'touch' || position === undefined) return
  if (data?.['verdict'] === 'dead') open.delete(position)
  else open.add(position)
}
