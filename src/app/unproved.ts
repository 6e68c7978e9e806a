/**
 * Parts that may still hold a charge after a run: nobody starts another before a person proved them dead by
 * hand.
 */
import type { PositionState } from '../engine/position.ts'
import { chargedAtEnd } from '../report/touch-lines.ts'
import { connected, isOpen, recalled, unread, type Held } from '../safety/held.ts'
import { unmeasuredWords } from '../schema/behind.ts'
import type { BenchFile } from '../schema/bench.ts'
import type { RunEvent, RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { behindAtEnd } from './behind-cover.ts'

const words = (names: readonly string[]): string | null => names.length === 0 ? null
  : `${names.join(' ')} may still hold a charge: prove dead by hand, then acknowledge with what you found`

/**
 * Words for the parts of a run that ended, or null when every one that stood above `touchSafeV` was measured.
 */
export const unproved = (positions: readonly PositionState[], touchSafeV: number): string | null =>
  words(positions.filter(({ held }) => isOpen(held, touchSafeV)).map(({ spec }) => spec.name))

/**
 * The last run, and what went on the bus in it and was not measured dead after; nothing once a person
 * acknowledged. Null without a run.
 */
export async function openOnRecord(store: Store): Promise<{ run: RunRecord; positions: string[] } | null> {
  const [newest] = await store.listRuns(1)
  const last = newest && await store.run(newest.id)
  if (!last) return null
  const limits = last.setup['limits'] as BenchFile['limits']
  const held = heldOnRecord(await store.events(last.id))
  const open = [...held].filter(([, of]) => isOpen(of, limits.touchSafeV)).map(([name]) => name)
  return { run: last, positions: open.sort() }
}

/** The same in words, for a daemon that starts; null where nothing is open. */
export const unprovedOnRecord = async (store: Store): Promise<string | null> =>
  words((await openOnRecord(store))?.positions ?? [])

/**
 * Words for a last run that tripped or was stopped and that nobody has acknowledged since: a restart of the
 * daemon is no acknowledgement. Null where there is none.
 */
export async function standingOnRecord(store: Store): Promise<string | null> {
  const [last] = await store.listRuns(1)
  if (!last || last.state !== 'tripped' && last.state !== 'stopped') return null
  const events = await store.events(last.id)
  if (events.some(({ kind }) => kind === 'acknowledged')) return null
  const why = events.find(({ kind }) => kind === 'trip' || kind === 'stop')?.text ?? `run ${last.state}`
  return `run ${last.id} ${last.state}: ${why}`
}

/**
 * Words for a session that was interrupted while what lies in the jig was charged, or before it had settled
 * what an earlier one left there, and that nobody has acknowledged since. Null where there is none.
 */
export async function chargedOnRecord(store: Store): Promise<string | null> {
  const [last] = await store.listRuns(1)
  if (last?.state !== 'interrupted') return null
  const [run, events] = [await store.run(last.id), await store.events(last.id)]
  if (!run || events.some(({ kind }) => kind === 'acknowledged')) return null
  const behind = behindAtEnd(run, events)
  const what = chargedAtEnd(events)?.text ?? (behind && unmeasuredWords(behind))
  return what === null ? null : `run ${last.id} was interrupted: ${what}`
}

/** What every position was known to hold when the record ends. */
function heldOnRecord(events: readonly RunEvent[]): ReadonlyMap<string, Held> {
  const held = new Map<string, Held>()
  const of = (name: string): Held => held.get(name) ?? unread
  for (const event of events) {
    const { kind, position, data } = event
    if (kind === 'acknowledged') held.clear()
    if (kind === 'connect') {
      for (const name of String(data?.['positions'] ?? '').split(' ').filter(Boolean)) {
        held.set(name, connected(of(name)))
      }
    }
    if (kind === 'touch' && position !== undefined) held.set(position, told(of(position), event))
  }
  return held
}

/** What a touch event says; a verdict that is none of ours shows nothing. */
function told(held: Held, { data, text }: RunEvent): Held {
  const { verdict, heldV } = data ?? {}
  const state = verdict === 'dead' || verdict === 'live' ? verdict : 'unmeasured'
  return recalled(held, state, typeof heldV === 'number' ? heldV : null, text)
}
