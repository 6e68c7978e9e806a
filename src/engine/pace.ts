/** How often the bench is read: quietly, fast while something happens, in a hurry while charge is counted. */
import type { Clock } from '../base/clock.ts'
import { sleep } from '../base/clock.ts'
import type { Cadence } from '../schema/bench.ts'

export class Pace {
  #clock: Clock
  #cadence: Cadence
  #signal: AbortSignal
  #fastUntilMs = 0
  #hurryUntilMs = 0
  #hurryEveryMs = 0
  #wake: (() => void) | null = null

  constructor(clock: Clock, cadence: Cadence, signal: AbortSignal) {
    this.#clock = clock
    this.#cadence = cadence
    this.#signal = signal
  }

  /** The fast cadence for `ms` from now, starting with a sweep out of turn. */
  attend(ms: number): void {
    this.#fastUntilMs = Math.max(this.#fastUntilMs, this.#clock.monotonicMs() + ms)
    this.#wake?.()
  }

  /** A sweep every `everyMs` for `ms` from now. */
  hurry(ms: number, everyMs: number): void {
    const nowMs = this.#clock.monotonicMs()
    this.#hurryEveryMs = nowMs < this.#hurryUntilMs ? Math.min(everyMs, this.#hurryEveryMs) : everyMs
    this.#hurryUntilMs = Math.max(this.#hurryUntilMs, nowMs + ms)
    this.attend(ms)
  }

  get busEveryMs(): number { return this.#fast ? this.#cadence.busMs : this.#cadence.busQuietMs }

  get sweepEveryMs(): number {
    const { sweepMs, sweepQuietMs } = this.#cadence
    if (this.#clock.monotonicMs() < this.#hurryUntilMs) return Math.min(this.#hurryEveryMs, sweepMs)
    return this.#fast ? sweepMs : sweepQuietMs
  }

  get #fast(): boolean { return this.#clock.monotonicMs() < this.#fastUntilMs }

  async pause(untilMs: number): Promise<void> {
    await sleep(this.#clock, Math.max(1, untilMs - this.#clock.monotonicMs()), this.#signal)
  }

  /** Ends early when somebody asks for attention. */
  pauseOrWake(untilMs: number): Promise<void> {
    const leftMs = Math.max(1, untilMs - this.#clock.monotonicMs())
    const signal = this.#signal
    return new Promise((resolve, reject) => {
      const over = (): void => { cancel(); this.#wake = null; signal.removeEventListener('abort', gone) }
      const done = (): void => { over(); resolve() }
      const gone = (): void => { over(); reject(signal.reason as Error) }
      const cancel = this.#clock.after(leftMs, done)
      this.#wake = done
      signal.addEventListener('abort', gone, { once: true })
    })
  }
}
