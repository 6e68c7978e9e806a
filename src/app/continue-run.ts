/** A run that did not reach its end: what has to hold for a person to continue it, or to close it. */
import { BenchError } from '../base/errors.ts'
import { leftOutOf } from '../report/left-out.ts'
import {
  startRequest, type LeftOut, type LoadedPart, type RunEvent, type RunRecord, type StartRequest,
} from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import type { ContinueRequest } from '../schema/application.ts'
import type { LoadedBench, ProfileFolder } from './files.ts'
import { screenSequence } from './settled.ts'

/** What can be continued: it ended before its time, and may be told once more from the same request. */
const unfinished: readonly RunRecord['state'][] = ['interrupted', 'stopped', 'tripped']

/**
 * The run as it stands. NOT_FOUND without one; REFUSED where it reached its end, was closed, or another run
 * came after it: what stands on the bench is then no longer what that run left.
 */
export async function unfinishedRun(store: Store, runId: string): Promise<RunRecord> {
  const run = await store.run(runId)
  if (!run) throw new BenchError('NOT_FOUND', `there is no run ${runId}`)
  if (run.sequence === screenSequence) {
    throw new BenchError('REFUSED', 'a screening session goes on when the same list is screened again')
  }
  if (!unfinished.includes(run.state)) {
    throw new BenchError('REFUSED', `run ${runId} is ${run.state}`,
      { expected: unfinished.join(', '), got: run.state })
  }
  const [newest] = await store.listRuns(1)
  if (newest?.id !== runId) throw new BenchError('REFUSED', `run ${newest?.id} came after run ${runId}`)
  const closed = (await store.events(runId)).find(({ kind }) => kind === 'closed')
  if (closed) throw new BenchError('REFUSED', `run ${runId} is closed: ${closed.text}`)
  return run
}

/** A run that is continued, and its parts that stay off the bus. */
export interface Continued {
  readonly runId: string
  readonly leftOut: readonly LeftOut[]
}

/**
 * `parts` without those that run `runId` dropped: what it took off the bus, continuing does not put back.
 * What it had left out itself stays left out. REFUSED where none is left.
 */
export async function withoutDropped(
  store: Store, runId: string, parts: readonly LoadedPart[],
): Promise<{ parts: LoadedPart[]; leftOut: LeftOut[] }> {
  const events = await store.events(runId)
  const dropped = new Map(events.filter(({ kind }) => kind === 'drop').toReversed()
    .map(({ position, text }) => [position, text]))
  const left = parts.filter(({ position }) => !dropped.has(position))
  if (left.length === 0 && parts.length > 0) {
    throw new BenchError('REFUSED', `run ${runId} dropped every part; look at each, then start a run`)
  }
  const results = left.length < parts.length ? await store.results(runId) : []
  const leftOut = parts.filter(part => !left.includes(part)).map(({ position, part }): LeftOut => ({
    position, part, why: dropped.get(position)!, run: runId,
    result: results.find(result => result.position === position) ?? null,
    touch: toldOf(events, position),
  }))
  return { parts: left, leftOut: [...leftOutOf(await store.run(runId)), ...leftOut] }
}

/** The last that was said of touching what is on a position. */
function toldOf(events: readonly RunEvent[], position: string): NonNullable<LeftOut['touch']> | null {
  const told = events.findLast(event => event.kind === 'touch' && event.position === position)
  return told ? { text: told.text, wallMs: told.wallMs } : null
}

/**
 * The request of `run` in the name of who continues it. IDENTITY where the bench file names another
 * instrument than it did, REFUSED where a part profile has been changed since.
 */
export function requestToContinue(
  run: RunRecord, { person, cautionsConfirmed, polarityConfirmed }: ContinueRequest,
  { bench, profiles }: { bench: LoadedBench; profiles: ProfileFolder },
): StartRequest {
  const recorded = run.setup['instruments'] as { name: string; identity: string }[]
  const now = Object.entries(bench.file.instruments).map(([name, { identity }]) => ({ name, identity }))
  for (const name of new Set([...recorded, ...now].map(entry => entry.name))) {
    const of = (list: typeof now): string => list.find(entry => entry.name === name)?.identity ?? 'none'
    if (of(recorded) === of(now)) continue
    throw new BenchError('IDENTITY', `the bench is not the one of run ${run.id}`,
      { instrument: name, expected: of(recorded), got: of(now) })
  }
  for (const { name, hash } of run.setup['parts'] as { name: string; hash: string }[]) {
    const got = profiles.part(name).hash
    if (got !== hash) {
      throw new BenchError('REFUSED', `part profile ${name} was changed since run ${run.id}`,
        { expected: hash, got })
    }
  }
  return { ...startRequest.parse(run.setup['request']), person, cautionsConfirmed, polarityConfirmed }
}
