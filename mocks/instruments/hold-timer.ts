/** The timer of a contactor that lets go unless it is refreshed. One timer stands for many refreshes. */
import type { Cancel, Clock } from '../../src/base/clock.ts'

export class HoldTimer {
  readonly #clock: Clock
  readonly #holdMs: () => number
  readonly #letsGo: () => void
  #cancel: Cancel | undefined
  #untilMs = 0

  constructor(clock: Clock, holdMs: () => number, letsGo: () => void) {
    this.#clock = clock
    this.#holdMs = holdMs
    this.#letsGo = letsGo
  }

  start(): void {
    this.#untilMs = this.#clock.monotonicMs() + this.#holdMs()
    this.#cancel ??= this.#clock.after(this.#holdMs(), () => this.#ends())
  }

  stop(): void {
    this.#cancel?.()
    this.#cancel = undefined
  }

  /** When it ends early it is set for what is left. */
  #ends(): void {
    this.#cancel = undefined
    const leftMs = this.#untilMs - this.#clock.monotonicMs()
    if (leftMs > 0) this.#cancel = this.#clock.after(leftMs, () => this.#ends())
    else this.#letsGo()
  }
}
