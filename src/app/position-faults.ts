/** What bench-check found wrong at a position, and no later one right: its part stays off bridge and bus. */
import type { Store } from '../schema/store.ts'
import { runsBack } from './runs-back.ts'

/**
 * Words by position, those of `bench` alone, from the runs that `runsBack` looks through. A check that
 * failed stands until the same check passes there, at no fewer volts where it was made at some: one that
 * could not be made shows nothing.
 */
export async function positionFaults(store: Store, bench: string): Promise<Map<string, string>> {
  /** By position and check: at how many volts it passed since, at most. */
  const passedV = new Map<string, number>()
  const found = new Map<string, string>()
  for await (const { id } of runsBack(store, run => run.sequence === 'bench-check' && run.bench === bench)) {
    for (const { kind, position, text, data } of (await store.events(id)).toReversed()) {
      const check = data?.['check']
      if (position === undefined || typeof check !== 'string' || data?.['isMade'] === false) continue
      const volts = Number(data?.['volts'] ?? 0)
      const name = `${position} ${check}`
      const sinceV = passedV.get(name) ?? -Infinity
      if (kind === 'check') passedV.set(name, Math.max(sinceV, volts))
      else if (volts > sinceV && !found.has(position)) found.set(position, `bench-check ${id} found ${text}`)
    }
  }
  return found
}
