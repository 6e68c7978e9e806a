/**
 * The only place that knows time. Two readings: monotonic, for durations, and wall, for stamps.
 * `RealClock` for benches, `VirtualClock` for tests, campaigns and rehearsal. See led-clock.ts for the demo.
 */
import { performance } from 'node:perf_hooks'
import { assert } from './assert.ts'

export type Cancel = () => void

export interface Clock {
  /** Milliseconds since an arbitrary start; never goes back. */
  monotonicMs(): number
  /** Milliseconds since 1970-01-01 UTC, as this clock believes. */
  wallMs(): number
  /**
   * Calls `action` once, `delayMs` or later. The returned function cancels it; cancelling twice is harmless.
   */
  after(delayMs: number, action: () => void): Cancel
  /** Marks work whose end does not depend on this clock (an exchange, a write). A led clock waits for it. */
  hold(): Cancel
}

/**
 * Resolves after `delayMs`, or rejects with the signal's reason as soon as it aborts.
 * The timer never outlives it.
 */
export function sleep(clock: Clock, delayMs: number, signal?: AbortSignal): Promise<void> {
  return new Promise((resolve, reject) => {
    if (signal?.aborted) return reject(signal.reason as Error)
    const onAbort = (): void => { cancel(); reject(signal!.reason as Error) }
    const cancel = clock.after(delayMs, () => {
      signal?.removeEventListener('abort', onAbort)
      resolve()
    })
    signal?.addEventListener('abort', onAbort, { once: true })
  })
}

const nothing = (): void => {}

export class RealClock implements Clock {
  monotonicMs(): number { return performance.now() }
  wallMs(): number { return Date.now() }
  after(delayMs: number, action: () => void): Cancel {
    // setTimeout may fire up to 1 ms early; a deadline that fires early would lie.
    const timer = setTimeout(action, Math.max(0, Math.ceil(delayMs)))
    return () => clearTimeout(timer)
  }
  hold(): Cancel { return nothing }
}

interface Timer { dueMs: number; order: number; action: (() => void) | null }

/** A heap of timers: earliest due first, and first come first served when two are due together. */
export class TimerHeap {
  #heap: Timer[] = []
  #order = 0

  add(dueMs: number, action: () => void): Cancel {
    assert(Number.isFinite(dueMs), 'a timer needs a finite due time')
    const timer: Timer = { dueMs, order: this.#order++, action }
    this.#heap.push(timer)
    this.#up(this.#heap.length - 1)
    return () => { timer.action = null }
  }

  /** Due time of the next live timer in ms, or undefined when none is left. */
  nextDueMs(): number | undefined {
    while (this.#heap.length > 0 && this.#heap[0]!.action === null) this.#pop()
    return this.#heap[0]?.dueMs
  }

  /** Removes and returns the next live timer's action. */
  take(): (() => void) | undefined {
    if (this.nextDueMs() === undefined) return undefined
    return this.#pop().action ?? undefined
  }

  #before(a: Timer, b: Timer): boolean {
    return a.dueMs < b.dueMs || (a.dueMs === b.dueMs && a.order < b.order)
  }

  #up(index: number): void {
    const heap = this.#heap
    const item = heap[index]!
    while (index > 0) {
      const parent = (index - 1) >> 1
      if (!this.#before(item, heap[parent]!)) break
      heap[index] = heap[parent]!
      index = parent
    }
    heap[index] = item
  }

  #pop(): Timer {
    const heap = this.#heap
    const top = heap[0]!
    const last = heap.pop()!
    if (heap.length > 0) { heap[0] = last; this.#down() }
    return top
  }

  #down(): void {
    const heap = this.#heap
    const item = heap[0]!
    let index = 0
    for (;;) {
      let child = 2 * index + 1
      if (child >= heap.length) break
      if (child + 1 < heap.length && this.#before(heap[child + 1]!, heap[child]!)) child++
      if (!this.#before(heap[child]!, item)) break
      heap[index] = heap[child]!
      index = child
    }
    heap[index] = item
  }
}

/** How many timers run before the host's own event loop gets a turn (signals, test time-outs). */
const turnsPerYield = 4096

/**
 * Simulated time in one process. Timers run in due order, each only after everything the one before it
 * set going (microtasks included) has come to rest. Nothing here may wait for real I/O.
 */
export class VirtualClock implements Clock {
  #nowMs = 0
  #wallOffsetMs: number
  #timers = new TimerHeap()
  #running = false
  #turns = 0

  /** `wallStartMs`: what the wall reads at monotonic zero, in ms since 1970. */
  constructor(wallStartMs = Date.UTC(2026, 0, 5, 20, 0, 0)) { this.#wallOffsetMs = wallStartMs }

  monotonicMs(): number { return this.#nowMs }
  wallMs(): number { return this.#wallOffsetMs + this.#nowMs }
  /** Moves the wall by `ms` without moving monotonic time: what a bad time server does. */
  stepWall(ms: number): void { this.#wallOffsetMs += ms }
  /** Moves monotonic and wall time on without running timers: what a sleeping host does. */
  sleepHost(ms: number): void { this.#nowMs += ms }
  after(delayMs: number, action: () => void): Cancel {
    return this.#timers.add(this.#nowMs + Math.max(0, delayMs), action)
  }
  hold(): Cancel { return nothing }

  /**
   * Runs timers until `work` settles, and returns its result. Rejects when nothing is
   * left that could settle it.
   */
  async run<T>(work: Promise<T>): Promise<T> {
    assert(!this.#running, 'this virtual clock is running already')
    this.#running = true
    let settled = false
    const watched = work.finally(() => { settled = true })
    watched.catch(nothing)
    try {
      await this.#pump(() => settled)
    } finally {
      this.#running = false
    }
    if (!settled) throw new Error('virtual time: nothing is scheduled and the work has not ended')
    return await watched
  }

  /** Runs every timer due within the next `ms` milliseconds, then stands at that instant. */
  async advance(ms: number): Promise<void> {
    const untilMs = this.#nowMs + ms
    await this.#pump(() => (this.#timers.nextDueMs() ?? Infinity) > untilMs)
    this.#nowMs = Math.max(this.#nowMs, untilMs)
  }

  /**
   * A tick queued from inside the microtask queue runs only when that queue is empty, so each timer sees all
   * consequences of the one before it; this costs a tenth of a turn of the event loop.
   */
  #pump(done: () => boolean): Promise<void> {
    return new Promise((resolve, reject) => {
      const turn = (): void => {
        if (done()) return resolve()
        const dueMs = this.#timers.nextDueMs()
        if (dueMs === undefined) return resolve()
        this.#nowMs = Math.max(this.#nowMs, dueMs)
        try { this.#timers.take()?.() } catch (error) { return reject(error as Error) }
        queueMicrotask(next)
      }
      const next = (): void => {
        if (++this.#turns % turnsPerYield === 0) setImmediate(turn)
        else process.nextTick(turn)
      }
      queueMicrotask(next)
    })
  }
}
