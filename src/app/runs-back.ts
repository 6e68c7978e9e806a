/** Runs on record with all that was asked for in them, newest first, one at a time: a setup may be long. */
import type { RunHead, RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'

/** How far back is looked, in runs of any kind. */
export const runsMost = 1000

/** Those of the newest `runsMost` that `wanted` takes. Whoever asks stops when it has what it needs. */
export async function* runsBack(
  store: Store, wanted: (head: RunHead) => boolean,
): AsyncGenerator<RunRecord> {
  for (const head of await store.listRuns(runsMost)) {
    const run = wanted(head) ? await store.run(head.id) : undefined
    if (run) yield run
  }
}
