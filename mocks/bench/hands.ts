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
  /** How the button of a cover is pressed; properly when left out. */
  readonly manner?: () => Manner
  /** Draws how long each movement takes, and which touches slip at first; none does when left out. */
  readonly random?: SeededRandom
}

/**
 * `early`: pressed before the cover is closed, let go after. `held`: pressed before and wedged for good.
 * `never`: the cover is closed, and nothing pressed.
 */
export type Manner = 'properly' | 'early' | 'held' | 'never'

/** What a session says, by its tone. */
export type Heard = 'ask' | 'good' | 'bad' | 'unsure' | 'attention'

/** What is done after so long; `false`: it could not be. */
type Move = readonly [afterMs: number, act: () => boolean | void]
/** To the cover closed or open, and a press of the button, ms (ours). */
const [openMs, closeMs, pressMs] = [300, 600, 300]

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
      if (text === 'leave the jig empty' || text.startsWith('open the cover, take out')) return this.take()
      if (text.startsWith('it is locked: pull')) return this.pullAndPress()
      const asks = /^(open the cover, )?close (the cover|it) and press/.exec(text)
      if (asks) return this.closeAndPress(asks[1] !== undefined)
      const part = this.#options.find(/^the (.+) across 1 and 2$/.exec(text)?.[1] ?? text)
      if (part) this.put(part)
      else this.#options.bench.part?.hear(text)
    } else if (!text.includes('?')) this.take()
  }

  /** What lies on the tray is taken off, and this laid in its place, by position. */
  layTray(lies: ReadonlyMap<string, Component>): void {
    const { tray } = this.#options.bench
    if (!tray) return
    tray.clear()
    for (const [position, part] of lies) tray.lay(position, part)
  }

  /** What lies in the jig is taken out first. */
  put(part: Component): void {
    const { bench, random } = this.#options
    const putMs = this.#drawn(this.#putMs)
    const slips = random !== undefined && random.next() < slipShare
    const put = (one: Component | null) => (): void => bench.put(one)
    this.#do([
      ...this.#opened(), ...bench.part ? [[putMs / 2, put(null)] as const] : [], [putMs, put(part)],
      ...slips
        ? [[random.uniform(...slip.afterMs), put(null)], [random.uniform(...slip.gapMs), put(part)]] as const
        : [],
    ])
  }

  /** Whatever is said. */
  take(): void {
    this.#do([...this.#opened(), [this.#drawn(this.#takeMs), () => this.#options.bench.put(null)]])
  }

  /** `first`: it is opened before that. */
  closeAndPress(first = false): void {
    const { bench: { cover }, manner = () => 'properly' as const } = this.#options
    if (!cover) return
    const how = manner()
    const isEarly = how === 'early' || how === 'held'
    this.#do([
      ...first ? this.#opened() : [],
      ...isEarly ? [[this.#drawn(pressMs), () => { cover.switches.present = true }] as const] : [],
      [this.#drawn(closeMs), () => cover.close()],
      ...how === 'early' ? [[pressMs, () => { cover.switches.present = false }] as const] : [],
      ...how === 'properly' ? [[this.#drawn(closeMs), () => cover.press(pressMs)] as const] : [],
    ])
  }

  /** It is pressed only where the cover held. */
  pullAndPress(): void {
    const { bench: { cover }, manner = () => 'properly' as const } = this.#options
    if (!cover || manner() !== 'properly') return
    this.#do([
      [this.#drawn(closeMs), () => { cover.tryOpen() }],
      [this.#drawn(closeMs), () => { if (cover.isClosed) cover.press(pressMs) }],
    ])
  }

  /** A cover in the way is opened first; one that does not give is pulled at again. */
  #opened(): readonly Move[] {
    const { cover } = this.#options.bench
    return cover ? [[this.#drawn(openMs), () => cover.tryOpen()]] : []
  }

  #drawn(ms: number): number {
    const { random } = this.#options
    return random ? ms * random.uniform(...haste) : ms
  }

  /** One after the other, each again until it is done; what was under way is given up. */
  #do(moves: readonly Move[]): void {
    this.#moving()
    const [first, ...others] = moves
    if (!first) return
    const [afterMs, act] = first
    this.#moving = this.#options.clock.after(afterMs, () => this.#do(act() === false ? moves : others))
  }
}
