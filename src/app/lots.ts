/**
 * Lots of parts on record. What takes long is reckoned on a thread of its own, so that the bench never waits
 * for it.
 */
import { Worker } from 'node:worker_threads'
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import { builtEntry } from '../base/paths.ts'
import type { LotsPort } from '../schema/application.ts'
import type {
  CompareAnswer, CompareRequest, MatchAnswer, MatchRequest, SheetRequest,
} from '../schema/lots.ts'
import type { GaugeAnswer, GaugeRequest } from '../schema/gauge.ts'
import type { RunHead, RunRecord } from '../schema/run.ts'
import type { SourceState } from '../schema/sampling.ts'
import { screenRequest } from '../schema/screening.ts'
import type { Store } from '../schema/store.ts'
import { errorOf } from '../store/protocol.ts'
import type { LotRun } from '../report/lot-parts.ts'
import type { RunEvents } from '../report/lot-standards.ts'
import type { LotJob, LotOutcome } from './lots-work.ts'
import { sourcesOnRecord } from './lots-sampling.ts'
import { runsBack, runsMost } from './runs-back.ts'
import { screenSequence } from './settled.ts'

/** Does one job somewhere; rejects with what the job threw. */
export type LotWork = (job: LotJob) => Promise<unknown>

/** Beyond that nobody waits any more, and a processor is busy for nothing. */
const longestMs = 120_000
/** A bench has two processors, and one of them is for the bench. */
const atOnceMost = 1
/** How many sessions back the course of a standard is followed. */
const sessionsMost = 100

export class Lots implements LotsPort {
  readonly #store: Store
  readonly #work: LotWork

  constructor(store: Store, work: LotWork) {
    this.#store = store
    this.#work = work
  }

  async match(request: MatchRequest): Promise<MatchAnswer> {
    return await this.#work({ do: 'match', runs: await this.#runs(request.runs), request }) as MatchAnswer
  }

  async compare(request: CompareRequest): Promise<CompareAnswer> {
    return await this.#work({ do: 'compare', runs: await this.#runs(request.runs), request }) as CompareAnswer
  }

  async gauge(request: GaugeRequest): Promise<GaugeAnswer> {
    const runs = await this.#runs([request.run, ...await this.#sameStudy(request.run)])
    return await this.#work({ do: 'gauge', runs, request }) as GaugeAnswer
  }

  /** Sessions of the same study: of one unit, with the same people, trials and parts. */
  async #sameStudy(id: string): Promise<string[]> {
    const wanted = studyKey(await this.#store.run(id))
    if (wanted === null) return []
    const same: string[] = []
    for await (const run of runsBack(this.#store, isScreening)) {
      if (studyKey(run) === wanted) same.push(run.id)
    }
    return same
  }

  async sources(source?: string): Promise<SourceState[]> {
    return await sourcesOnRecord(this.#store, source)
  }

  async sheet(request: SheetRequest): Promise<string> {
    const runs = await this.#runs(request.runs)
    const sessions = await this.#sessions(runs)
    return await this.#work({ do: 'sheet', runs, request, sessions }) as string
  }

  /** These runs and earlier sessions: how a standard reads shows over many of them. */
  async #sessions(runs: readonly LotRun[]): Promise<RunEvents[]> {
    const latest = Math.max(...runs.map(({ run }) => run.startedWallMs))
    const asked = new Set(runs.map(({ run }) => run.id))
    const read: RunEvents[] = []
    for (const { id, sequence, startedWallMs } of await this.#store.listRuns(runsMost)) {
      if (!asked.has(id) && (sequence !== screenSequence || startedWallMs > latest)) continue
      const events = (await this.#store.events(id)).filter(({ kind }) => kind === 'standard')
      if (events.length > 0) read.push({ run: id, events })
      if (read.length >= sessionsMost) break
    }
    return read
  }

  async #runs(ids: readonly string[]): Promise<LotRun[]> {
    const runs: LotRun[] = []
    for (const id of new Set(ids)) {
      const run = await this.#store.run(id)
      if (!run) throw new BenchError('NOT_FOUND', `there is no run ${id}`)
      runs.push({ run, results: await this.#store.results(id) })
    }
    return runs
  }
}

const isScreening = ({ sequence }: RunHead): boolean => sequence === screenSequence

/** What makes sessions one study; null of a run that is none. */
function studyKey(run: RunRecord | undefined): string | null {
  const given = run?.setup['request'] as { study?: unknown } | undefined
  if (given?.study === undefined) return null
  const request = screenRequest.safeParse(given)
  if (!request.success || !request.data.study) return null
  const { unit, study: { people, trials, seed }, parts } = request.data
  return JSON.stringify([unit, people, trials, seed, parts])
}

/** Work on threads of their own, one at a time; more is refused. `entry` is for tests. */
export function lotThreads(clock: Clock, entry = builtEntry('src/app/lots-worker')): LotWork {
  let busy = 0
  return async job => {
    if (busy >= atOnceMost) {
      throw new BenchError('REFUSED', 'other lots are being reckoned: ask again when that is through')
    }
    busy++
    try {
      return await onThread(clock, entry, job)
    } finally {
      busy--
    }
  }
}

async function onThread(clock: Clock, entry: string, job: LotJob): Promise<unknown> {
  const worker = new Worker(entry, { workerData: job })
  let cancel = (): void => {}
  try {
    const outcome = await new Promise<LotOutcome>((resolve, reject) => {
      worker.once('message', resolve)
      worker.once('error', reject)
      worker.once('exit', () => reject(new BenchError('HOST', 'the thread for lots ended without an answer')))
      cancel = clock.after(longestMs, () => reject(new BenchError('REFUSED',
        `it takes longer than ${longestMs / 1000} s: choose fewer parts or quantities`)))
    })
    if ('value' in outcome) return outcome.value
    throw errorOf(outcome.fault)
  } finally {
    cancel()
    await worker.terminate()
  }
}
