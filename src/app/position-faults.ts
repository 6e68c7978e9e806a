/** What bench-check found wrong at a position, and no later one right: its part stays off bridge and bus. */
import type { Store } from '../schema/store.ts'

/** So far back in the record it is looked for, runs; a bench is checked far more often. */
const runsMost = 1000
const checksMost = 20

/**
 * Words by position, those of `bench` alone. A check that failed stands until the same check passes there:
 * one that could not be made shows nothing.
 */
export async function positionFaults(store: Store, bench: string): Promise<Map<string, string>> {
  const runs = (await store.listRuns(runsMost))
    .filter(run => run.sequence === 'bench-check' && run.bench === bench).slice(0, checksMost)
  const seen = new Set<string>()
  const found = new Map<string, string>()
  for (const { id } of runs) {
    for (const { kind, position, text, data } of await store.events(id)) {
      const check = data?.['check']
      if (position === undefined || typeof check !== 'string') continue
      const name = `${position} ${check}`
      if (seen.has(name)) continue
      seen.add(name)
      if (kind !== 'check-failed' || found.has(position)) continue
      found.set(position, `bench-check ${id} found ${text}`)
    }
  }
  return found
}
