/** What the record says to be behind the cover of the jig, and not shown to be empty. */
import {
  behind, chargedEvent, emptiedEvent, unknownBehind, unmeasuredMark, type Behind,
} from '../schema/behind.ts'
import type { SafeOffReport, UnsafePart } from '../schema/application.ts'
import type { Roles } from '../schema/roles.ts'
import type { RunEvent, RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { runsBack } from './runs-back.ts'
import { screenSequence } from './settled.ts'

/** In the setup of a session: what it found on record as it began. */
export const behindInSetup = 'behind'

/**
 * Null where nothing is. The newest session tells: each takes over what it did not settle. A person settles
 * it by an acknowledgement, but only after a session has told them that it is unmeasured.
 */
export async function behindOnRecord(store: Store): Promise<{ run: RunRecord; behind: Behind } | null> {
  for await (const run of runsBack(store, one => one.sequence === screenSequence)) {
    const left = behindAtEnd(run, await store.events(run.id))
    return left && { run, behind: left }
  }
  return null
}

/** Whether a safe-off put the bleeder across what lies behind the cover: read back, or nobody knows. */
export const isBleeding = (off: SafeOffReport | null, { jig }: Pick<Roles, 'jig'>): boolean =>
  off?.links.some(({ link, verified }) => link === jig?.name && verified === true) ?? false

/** The same for `status`. */
export async function unsafeBehind(store: Store): Promise<UnsafePart[]> {
  const left = await behindOnRecord(store)
  if (!left) return []
  const { run, behind: { part, volts } } = left
  const why = `under ${Math.round(volts)} V behind the cover, and not shown to be empty`
  const touch = `NOT SAFE TO TOUCH: UNMEASURED (${why})`
  return [{ run: run.id, position: 'jig', part, touch }]
}

export function behindAtEnd({ setup }: RunRecord, events: readonly RunEvent[]): Behind | null {
  let left = behind.nullable().parse(setup[behindInSetup] ?? null)
  let isTold = false
  for (const { kind, data } of events) {
    if (data?.[unmeasuredMark] === true) isTold = true
    if (kind === chargedEvent) left = chargedTo(data)
    if (kind === emptiedEvent || kind === 'acknowledged' && isTold) left = null
  }
  return left
}

/** What stays below touch-safe is put on record with its volts alone. */
function chargedTo(data: RunEvent['data']): Behind | null {
  if (data?.['behindCover'] !== true) return null
  const { behindCover: _, ...held } = data
  const read = behind.safeParse(held)
  return read.success ? read.data : unknownBehind('what lay in the jig', Number(data['volts']))
}
