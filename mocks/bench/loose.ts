/** Parts that were in a jig and lie in no clip now: dropped behind its cover, or taken out by a hand. */
import type { Clock } from '../../src/base/clock.ts'
import type { Component } from '../components/component.ts'

/** So long somebody has a part in hand that was taken out, ms: what absorption brings back is slow. */
const inHandMs = 600_000

export class Loose {
  readonly #clock: Clock
  #dropped: Component | null = null
  readonly #taken = new Map<Component, { readonly untilMs: number; atMs: number }>()

  constructor(clock: Clock) { this.#clock = clock }

  /** What dropped last, and lies there yet. */
  get dropped(): Component | null { return this.#dropped }

  /** Most volts of what dropped behind the cover: nothing empties it there. */
  get heldV(): number { return this.#dropped?.heldV ?? 0 }

  drop(part: Component): void { this.#dropped = part }

  take(part: Component): void {
    if (!part.holdsCharge) return
    const atMs = this.#clock.monotonicMs()
    this.#taken.set(part, { untilMs: atMs + inHandMs, atMs })
  }

  /** It is in its clips again. */
  leave(part: Component): void {
    if (this.#dropped === part) this.#dropped = null
    this.#taken.delete(part)
  }

  /** By a stick. */
  short(): void { this.#dropped?.short() }

  /** Lets time go by for what is in a hand, and tells what each stands at, V. */
  see(tell: (volts: number) => void): void {
    const nowMs = this.#clock.monotonicMs()
    for (const [part, one] of this.#taken) {
      part.pass([], (nowMs - one.atMs) / 1000)
      one.atMs = nowMs
      tell(part.heldV)
      if (nowMs >= one.untilMs) this.#taken.delete(part)
    }
  }
}
