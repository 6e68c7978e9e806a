/** The port behind which the record is kept: a worker thread on a bench, inline in virtual time. */
import type { Channel, Reading } from './reading.ts'
import type { PartResult, RunEvent, RunHead, RunRecord, RunState } from './run.ts'

/**
 * `seq` counts all links of the run's chain, so events have gaps where batches and results lie between them.
 */
export interface StoredEvent extends RunEvent { readonly seq: number; readonly hash: string }

/**
 * Columns of one channel, time ascending. NaN where a value is missing. Quality by index into `qualities`.
 */
export interface Series {
  readonly channel: Channel
  readonly atMs: Float64Array
  readonly value: Float64Array
  readonly u: Float64Array
  readonly quality: Uint8Array
}

/**
 * A down-sampled bucket: first time, and lowest, mean and highest good value within it, NaN where none is
 * good. `count` readings are in it, `bad` of them not good.
 */
export interface Bucket { atMs: number; min: number; mean: number; max: number; count: number; bad: number }

export interface Store {
  /**
   * Commits the run before it resolves. REFUSED when there is one of that id; the rest is NOT_FOUND without a
   * run.
   */
  createRun(run: RunRecord, channels: readonly Channel[]): Promise<void>
  /** Commits before it resolves: energising events are awaited, de-energising ones are not. */
  appendEvent(runId: string, event: RunEvent): Promise<StoredEvent>
  /** Appends a batch, whole or not at all, and resolves when it is durable. An empty one changes nothing. */
  appendReadings(runId: string, batch: readonly Reading[]): Promise<void>
  /** Adds a result; the newest of each position is the one that `results` gives. */
  saveResult(runId: string, result: PartResult): Promise<void>
  finishRun(runId: string, state: RunState, endedWallMs: number): Promise<void>
  /** Marks every `running` run `interrupted`; returns their ids. */
  interruptRunning(wallMs: number): Promise<string[]>

  /**
   * Newest first, without their setups: a thousand of those are a hundred megabytes, and whoever takes them
   * in at once holds up the bench.
   */
  listRuns(limit: number): Promise<RunHead[]>
  run(runId: string): Promise<RunRecord | undefined>
  channels(runId: string): Promise<Channel[]>
  /** Events whose seq is `fromSeq` or later. */
  events(runId: string, fromSeq?: number): Promise<StoredEvent[]>
  /** Those of a run that judges positions are marked as such, however old it is. */
  results(runId: string): Promise<PartResult[]>
  /** Every run in which this part has a result, newest first; not where its position alone was judged. */
  partHistory(part: string): Promise<{ run: RunRecord; result: PartResult }[]>
  /** Readings with `fromMs` <= time <= `toMs`; all of them without. */
  series(runId: string, channel: number, fromMs?: number, toMs?: number): Promise<Series>
  /**
   * At most `points` buckets over the run, and at least a quarter of that where there are as many readings.
   */
  levels(runId: string, channel: number, points: number): Promise<Bucket[]>
  /** Head of the chain over the run's setup, events, reading batches, results and states, hex. */
  chainHead(runId: string): Promise<string>
  /** Recomputes the chain from the rows; the first broken link, or null when it holds. */
  verifyChain(runId: string): Promise<{ seq: number; what: string } | null>
  /** Ends after what was called before it; whatever is called later rejects with STORE. */
  close(): Promise<void>
}
