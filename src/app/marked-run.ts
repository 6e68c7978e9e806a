/** Runs are marked beside the record as they begin, so that a record which lost one is found out. */
import type { Channel } from '../schema/reading.ts'
import type { RunRecord } from '../schema/run.ts'
import type { DaemonDeps } from './daemon-deps.ts'
import { interruptUnended } from './unended.ts'

type Deps = Pick<DaemonDeps, 'store' | 'mark' | 'clock'>

/**
 * As `store.createRun`; a run that cannot be marked is refused, and stands so on record. Nothing else may go
 * on: what stands as running before it has ended.
 */
export async function createMarked(
  { store, mark, clock }: Deps, run: RunRecord, channels: readonly Channel[],
): Promise<void> {
  await interruptUnended({ store, clock })
  await store.createRun(run, channels)
  try {
    mark?.begin(run.id)
  } catch (error) {
    await store.finishRun(run.id, 'refused', clock.wallMs())
    throw error
  }
}

/** Why nothing may start where the run that began last is not on record; null where it is, or none began. */
export async function lostFromRecord({ store, mark }: Deps): Promise<string | null> {
  const run = mark?.run ?? null
  if (run === null || await store.run(run)) return null
  return `the record has lost run ${run}, and what that left charged is not known: prove dead by hand, `
    + 'then acknowledge'
}

/** A person has acknowledged what was told of it. */
export async function forgetLost(deps: Deps): Promise<void> {
  if (await lostFromRecord(deps) !== null) deps.mark?.clear()
}
