/** What a screening session took off for its jig, as far as it was recorded. */
import { formatWall } from '../base/format.ts'
import { compensatedBy, compensatedEvent, driftEvent } from '../schema/compensation.ts'
import type { RunEvent, RunRecord } from '../schema/run.ts'

/** Null where the run says nothing of a jig. */
export function jigWords({ id, setup }: RunRecord, events: readonly RunEvent[]): string | null {
  if (setup['compensated'] === null) return 'not compensated: what leads usually add counts as uncertainty'
  const by = compensatedBy.safeParse(setup['compensated'])
  if (!by.success) return null
  const made = events.findLast(({ kind }) => kind === compensatedEvent)
  if (by.data.run === id) return made?.text ?? 'not compensated: the session ended before that was done'
  const refused = events.findLast(({ kind, data }) => kind === driftEvent && data?.['isUsed'] === false)
  return refused?.text ?? `compensated at ${formatWall(by.data.wallMs)} by run ${by.data.run}`
}
