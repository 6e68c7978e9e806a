/** Looks at what a round left in its record. */
import Database from 'better-sqlite3'
import { openInlineStore } from '../src/store/inline.ts'
import type { Shown } from './witness.ts'

export interface RecordCheck {
  lostReadings: number
  corrupt: string | null
  /** The run stands as running: the next start must find it. */
  open: boolean
}

/**
 * Holds the record of a run against what a client was shown as lasting. `energised`: the supply was on,
 * so the event that allowed it must be there.
 */
export async function checkRecord(
  path: string, runId: string, seen: readonly Shown[], energised: boolean,
): Promise<RecordCheck> {
  const broken = integrityOf(path)
  if (broken !== null) return { lostReadings: 0, corrupt: broken, open: false }
  const store = openInlineStore(path)
  try {
    const open = (await store.run(runId))?.state === 'running'
    const link = await store.verifyChain(runId)
    if (link !== null) return { lostReadings: 0, corrupt: `link ${link.seq}: ${link.what}`, open }
    const missing = energised && !(await store.events(runId)).some(({ kind }) => kind === 'energise')
    let lostReadings = 0
    for (const [channel, shown] of byChannel(seen)) {
      const { atMs, value } = await store.series(runId, channel)
      const kept = new Map(Array.from(atMs, (at, i) => [at, value[i]!]))
      lostReadings += shown.filter(one => !same(kept.get(one.atMs), one.value)).length
    }
    return { lostReadings, corrupt: missing ? 'energised, and no event of it' : null, open }
  } finally {
    await store.close()
  }
}

function integrityOf(path: string): string | null {
  const db = new Database(path)
  try {
    const said = db.pragma('integrity_check', { simple: true })
    return said === 'ok' ? null : String(said)
  } catch (error) {
    return (error as Error).message
  } finally {
    db.close()
  }
}

function byChannel(seen: readonly Shown[]): Map<number, Shown[]> {
  const channels = new Map<number, Shown[]>()
  for (const one of seen) channels.set(one.channel, [...channels.get(one.channel) ?? [], one])
  return channels
}

/** JSON knows no NaN: what was no number was shown as null. */
const same = (kept: number | undefined, shown: number | null): boolean =>
  kept !== undefined && (shown === null ? Number.isNaN(kept) : kept === shown)
