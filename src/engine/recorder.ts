/**
 * Between the supervisor and the store: batches readings, commits events, and knows up
 * to when all is durable.
 */
import type { Cancel, Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { Reading } from '../schema/reading.ts'
import type { PartResult, RunEvent, Severity } from '../schema/run.ts'
import type { FeedItem } from '../schema/application.ts'
import type { Store } from '../schema/store.ts'

/** What was read less than this ago may not be durable yet, and screens mark it provisional. */
const batchMs = 1000
const batchMost = 4096
/**
 * A write that has not ended after this long, in real time, counts as failed: slow cards
 * stall for seconds (common practice).
 */
export const storeLateMs = 10_000

export interface EventInput {
  kind: string; severity?: Severity; position?: string; text: string
  data?: Record<string, string | number | boolean | null>
}

export class Recorder {
  readonly runId: string
  #clock: Clock
  #livenessClock: Clock
  #store: Store
  #publish: (item: FeedItem) => void
  #onFailure: (error: unknown) => void
  #batch: Reading[] = []
  #timer: Cancel | null = null
  #tail: Promise<void> = Promise.resolve()
  #durableUntilMs: number
  /** The longest that a reading took from its time to here, ms: one that old may still be on its way. */
  #longestMs = batchMs
  #failed = false
  /** A write is overdue and has not ended yet: nothing is put behind it. */
  #stalled = false

  /**
   * `onFailure` is called once, synchronously with the first write that fails or does not end; the run must
   * stop then. `livenessClock`: real time, because bench time may wait for the write.
   */
  constructor(deps: {
    runId: string; clock: Clock; livenessClock: Clock; store: Store
    publish: (item: FeedItem) => void; onFailure: (error: unknown) => void
  }) {
    this.runId = deps.runId
    this.#clock = deps.clock
    this.#durableUntilMs = deps.clock.monotonicMs()
    this.#livenessClock = deps.livenessClock
    this.#store = deps.store
    this.#publish = deps.publish
    this.#onFailure = deps.onFailure
  }

  /**
   * Monotonic ms up to which every reading is on the disk, those too that are still being taken: what is
   * younger may be lost.
   */
  get durableUntilMs(): number { return this.#durableUntilMs }

  reading(reading: Reading): void {
    this.#batch.push(reading)
    this.#longestMs = Math.max(this.#longestMs, this.#clock.monotonicMs() - reading.atMs)
    this.#publish({ type: 'reading', runId: this.runId, reading })
    if (this.#batch.length >= batchMost && !this.#failed) this.#write()
    else this.#timer ??= this.#clock.after(batchMs, () => this.#write())
  }

  /** Commits an event; energising events are awaited by their caller, the others are not. */
  event(input: EventInput): Promise<void> {
    const event: RunEvent = {
      severity: 'info', ...input, atMs: this.#clock.monotonicMs(), wallMs: this.#clock.wallMs(),
    }
    this.#publish({ type: 'event', runId: this.runId, event })
    return this.commit(() => this.#store.appendEvent(this.runId, event).then(() => {}))
  }

  /** Puts a result on record; a later one of the same position takes its place. */
  result(result: PartResult): Promise<void> {
    return this.commit(() => this.#store.saveResult(this.runId, result))
  }

  /**
   * Does one piece of store work after what was handed in before it. Rejects STORE when
   * it does not end in time.
   */
  commit(work: () => Promise<void>): Promise<void> {
    const release = this.#clock.hold()
    const done = this.#tail.then(() => this.#inTime(work)).finally(release)
    this.#tail = done.catch(error => {
      if (this.#failed) return
      this.#failed = true
      this.#onFailure(error)
    })
    return done
  }

  /** Writes what is waiting; resolves when all of it is durable. */
  async flush(): Promise<void> {
    this.#write()
    await this.#tail
  }

  #write(): void {
    this.#timer?.()
    this.#timer = null
    if (this.#batch.length === 0) return
    const batch = this.#batch
    this.#batch = []
    const takenMs = this.#clock.monotonicMs()
    void this.commit(async () => {
      try {
        await this.#store.appendReadings(this.runId, batch)
      } catch (error) {
        // What could not be written is tried again with what follows.
        this.#batch = [...batch, ...this.#batch]
        throw error
      }
      // After a failure earlier readings may still wait behind later ones that were written.
      if (!this.#failed) this.#durableUntilMs = takenMs - this.#longestMs
    }).catch(() => {})
  }

  async #inTime(work: () => Promise<void>): Promise<void> {
    if (this.#stalled) throw new BenchError('STORE', 'the store has not answered yet')
    const doing = work().finally(() => { this.#stalled = false })
    let cancel: Cancel = () => {}
    const late = new Promise<never>((_, reject) => {
      cancel = this.#livenessClock.after(storeLateMs, () => {
        this.#stalled = true
        reject(new BenchError('STORE', 'the store does not answer', { elapsedMs: storeLateMs }))
      })
    })
    doing.catch(() => {})
    await Promise.race([doing, late]).finally(cancel)
  }
}
