/**
 * The store in the caller's own thread, for virtual time: no timers, no threads, the same order every time.
 */
import type { Store } from '../schema/store.ts'
import { pack } from './columns.ts'
import { openCore, type StoreCore } from './core.ts'
import type { OpenOptions } from './open.ts'
import { finish } from './steps.ts'

/**
 * Opens the record at `path`, or one in memory with `:memory:`. Throws STORE or REFUSED as `openDatabase`.
 */
export function openInlineStore(path: string, options?: OpenOptions): Store {
  return inlineStore(openCore(path, options))
}

/** A store over a core. Each method does its work before it returns; its promise is settled already. */
export function inlineStore(core: StoreCore): Store {
  return {
    createRun: async (run, channels) => core.createRun(run, channels),
    appendEvent: async (runId, event) => core.appendEvent(runId, event),
    appendReadings: async (runId, batch) => core.appendReadings(runId, pack(batch)),
    saveResult: async (runId, result) => core.saveResult(runId, result),
    finishRun: async (runId, state, endedWallMs) => core.finishRun(runId, state, endedWallMs),
    interruptRunning: async wallMs => core.interruptRunning(wallMs),
    listRuns: async limit => core.listRuns(limit),
    run: async runId => core.run(runId),
    channels: async runId => core.channels(runId),
    events: async (runId, fromSeq) => core.events(runId, fromSeq),
    results: async runId => core.results(runId),
    partHistory: async part => core.partHistory(part),
    series: async (runId, channel, fromMs, toMs) => finish(core.series(runId, channel, fromMs, toMs)),
    levels: async (runId, channel, points) => core.levels(runId, channel, points),
    chainHead: async runId => core.chainHead(runId),
    verifyChain: async runId => finish(core.verifyChain(runId)),
    close: async () => core.close(),
  }
}
