/** What the record says of a unit that had mains, and was not measured dead after. */
import type { UnsafePart } from '../schema/application.ts'
import { isUnitSequence, poweringRequest } from '../schema/powering.ts'
import type { RunEvent, RunHead, RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'

export const undeadWords = (specimen: string): string =>
  `${specimen} was NOT measured dead with its mains read open: NOT SAFE: UNMEASURED; plug out, wait, prove `
    + 'every rail dead with a meter that you have just proved, then acknowledge with what you found'

/** Of the newest run where it is of a unit; null where that was measured dead, or a person acknowledged. */
export async function unitLeft(store: Store): Promise<{ run: RunRecord; specimen: string } | null> {
  const [newest] = await store.listRuns(1)
  if (!newest || !isUnitSequence(newest.sequence) || !isOver(newest)) return null
  const run = await store.run(newest.id)
  if (!run || !isLive(await store.events(run.id))) return null
  return { run, specimen: specimenOf(run) }
}

/** The same in words, for a daemon that starts. */
export async function unitLeftOnRecord(store: Store): Promise<string | null> {
  const left = await unitLeft(store)
  return left && undeadWords(left.specimen)
}

/** The same for `status`. */
export async function unsafeUnit(store: Store): Promise<UnsafePart[]> {
  const left = await unitLeft(store)
  if (!left) return []
  const touch = 'NOT SAFE TO TOUCH: UNMEASURED (no look found every rail dead with its mains read open)'
  return [{ run: left.run.id, position: 'unit', part: left.specimen, touch }]
}

const isOver = ({ state }: RunHead): boolean => state !== 'running' && state !== 'prepared'

/** It had mains, and nothing shows since that every rail is dead. */
function isLive(events: readonly RunEvent[]): boolean {
  let live = false
  for (const { kind, data } of events) {
    if (kind === 'energise') live = true
    if (kind === 'acknowledged') live = false
    if (kind === 'touch') live = data?.['isDead'] !== true
  }
  return live
}

function specimenOf({ setup }: RunRecord): string {
  const read = poweringRequest.safeParse(setup['request'])
  return read.success ? read.data.specimen : 'the unit'
}
