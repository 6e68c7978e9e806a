/** Why nothing may start: it stands until a person acknowledges it, with a reason, at the bench. */
import type { Clock } from '../base/clock.ts'
import type { BenchStatus } from '../schema/application.ts'

type Latched = NonNullable<BenchStatus['latched']>

export class Latch {
  readonly #clock: Clock
  #now: Latched | null = null

  constructor(clock: Clock) { this.#clock = clock }

  get now(): Latched | null { return this.#now }

  set(text: string): void { this.#now = { text, wallMs: this.#clock.wallMs() } }

  /** Beside what stands already. */
  add(text: string): void { this.set(this.#now === null ? text : `${this.#now.text}; ${text}`) }

  /** What latches from here on is news, and not released with what was given back. */
  release(): Latched | null {
    const was = this.#now
    this.#now = null
    return was
  }

  /** Takes a release back, unless something newer has latched. */
  restore(was: Latched): void { this.#now ??= was }
}
