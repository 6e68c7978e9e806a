/** Two simulated hands at a jig: they put in what is asked for, and take it out at the outcome. */
import type { Cancel, Clock } from '../../src/base/clock.ts'
import type { Component } from '../components/component.ts'
import type { JigBench } from './jig-bench.ts'

export interface HandsOptions {
  readonly bench: JigBench
  readonly clock: Clock
  /** What lies on the table under this name; null where there is none, and the hands do nothing. */
  readonly find: (name: string) => Component | null
  /** From hearing a name to the part in the jig, and from an outcome to the jig empty, ms. */
  readonly putMs?: number
  readonly takeMs?: number
}

/** What a session says, by its tone. */
export type Heard = 'ask' | 'good' | 'bad' | 'unsure' | 'attention'

export class Hands {
  readonly #options: Required<HandsOptions>
  #moving: Cancel = () => {}

  constructor(options: HandsOptions) { this.#options = { putMs: 800, takeMs: 500, ...options } }

  /** A name is put in; an outcome is taken out; a question waits for a person. */
  hear(tone: Heard, text: string): void {
    const { find, putMs, takeMs } = this.#options
    if (tone === 'ask') {
      const part = find(text)
      if (part) this.#move(putMs, part)
    } else if (!text.includes('?')) this.#move(takeMs, null)
  }

  /** At once, whatever is said. */
  take(): void { this.#move(this.#options.takeMs, null) }

  #move(ms: number, part: Component | null): void {
    this.#moving()
    const { bench, clock } = this.#options
    this.#moving = clock.after(ms, () => bench.put(part))
  }
}
