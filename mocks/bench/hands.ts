/** Two simulated hands at a jig: they put in what is asked for, and take it out at the outcome. */
import type { Cancel, Clock } from '../../src/base/clock.ts'
import type { SeededRandom } from '../../src/base/random.ts'
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
  /** Draws how long each movement takes, and which touches slip at first; none does when left out. */
  readonly random?: SeededRandom
}

/** What a session says, by its tone. */
export type Heard = 'ask' | 'good' | 'bad' | 'unsure' | 'attention'

/** Movements take this many times as long as usual, evenly (ours). */
const haste = [0.7, 1.8] as const
/** One touch in four slips off, within 30 to 120 ms, and is made again (ours). */
const slipShare = 0.25
const slip = { afterMs: [30, 120], gapMs: [60, 200] } as const

export class Hands {
  readonly #options: HandsOptions
  readonly #putMs: number
  readonly #takeMs: number
  #moving: Cancel = () => {}

  constructor(options: HandsOptions) {
    this.#options = options
    this.#putMs = options.putMs ?? 800
    this.#takeMs = options.takeMs ?? 500
  }

  /** A name is put in; an outcome is taken out; a question waits for a person. */
  hear(tone: Heard, text: string): void {
    if (tone === 'ask') {
      if (text === 'leave the jig empty') return this.take()
      const part = this.#options.find(/^the (.+) across 1 and 2$/.exec(text)?.[1] ?? text)
      if (part) this.put(part)
      else this.#options.bench.part?.hear(text)
    } else if (!text.includes('?')) this.take()
  }

  /** What lies in the jig is taken out first. */
  put(part: Component): void {
    const { bench, random } = this.#options
    const putMs = this.#drawn(this.#putMs)
    const slips = random !== undefined && random.next() < slipShare
    this.#do([
      ...bench.part ? [[putMs / 2, null] as const] : [], [putMs, part],
      ...slips
        ? [[random.uniform(...slip.afterMs), null], [random.uniform(...slip.gapMs), part]] as const : [],
    ])
  }

  /** Whatever is said. */
  take(): void { this.#do([[this.#drawn(this.#takeMs), null]]) }

  #drawn(ms: number): number {
    const { random } = this.#options
    return random ? ms * random.uniform(...haste) : ms
  }

  /** One after the other; what was under way is given up. */
  #do(moves: readonly (readonly [afterMs: number, part: Component | null])[]): void {
    this.#moving()
    const { bench, clock } = this.#options
    const [first, ...others] = moves
    if (!first) return
    this.#moving = clock.after(first[0], () => { bench.put(first[1]); this.#do(others) })
  }
}
