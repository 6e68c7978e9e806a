/** What earlier sessions of a unit say of its parts: a result that stands need not be found again. */
import type { Grade, RunRecord } from '../schema/run.ts'
import { screenRequest, type ScreenRequest } from '../schema/screening.ts'
import type { Store } from '../schema/store.ts'
import { askedItems } from '../screening/asked-items.ts'
import type { Item } from '../screening/grade.ts'
import { runsBack } from './runs-back.ts'

export interface Settled { readonly id: string; readonly grade: Grade; readonly run: string }

/**
 * Of each part the newest result decides, and counts only where the list then asked the same of the part.
 * What could not be told, was taken back or was flagged does not stand; what was not accepted does not
 * where `ask` wants such parts again.
 */
export async function settledOf(
  store: Store, { unit, ask }: ScreenRequest, items: readonly Item[],
): Promise<Map<string, Settled>> {
  const settled = new Map<string, Settled>()
  if (ask === 'all') return settled
  const open = new Map(items.map(({ id, part }) => [id, JSON.stringify(part)]))
  for await (const run of runsBack(store, ({ sequence }) => sequence === screenSequence)) {
    if (open.size === 0) break
    const before = requestOf(run, unit)
    if (before === null) continue
    const wanted = new Map(askedItems(before).items.map(({ id, part }) => [id, JSON.stringify(part)]))
    for (const { position: id, grade } of await store.results(run.id)) {
      const asked = open.get(id)
      open.delete(id)
      if (asked === undefined || wanted.get(id) !== asked || !stands(grade, ask)) continue
      settled.set(id, { id, grade, run: run.id })
    }
  }
  return settled
}

const stands = (grade: Grade, ask: ScreenRequest['ask']): boolean =>
  ask === 'open' ? grade !== 'cannot tell' : grade === 'accept'

/**
 * What a session for this unit was asked for; null of one for another. One that says nothing of insulation is
 * from a time when it was not tested.
 */
function requestOf({ setup }: RunRecord, unit: string): ScreenRequest | null {
  const request = screenRequest.safeParse({ insulation: false, ...setup['request'] as object })
  return request.success && request.data.unit === unit ? request.data : null
}

/** Under this name sessions stand on record, beside the sequences. */
export const screenSequence = 'screen'
