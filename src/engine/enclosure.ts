/**
 * The cover over a jig: it asks for cover and button, locks, watches while volts may stand above touch-safe,
 * and frees. What counts is decided by a pure machine (safety/cover.ts); this one looks, waits and moves the
 * lock.
 */
import { sleep, type Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import {
  askedFrom, coverPollMs, coverStaleMs, pulledFrom, stepCover, watchedFrom,
  type Cover, type CoverInput, type Look,
} from '../safety/cover.ts'
import type { CoverSpec } from '../schema/bench.ts'
import type { Interlock, RelayBoard } from '../schema/roles.ts'

export interface EnclosurePorts {
  readonly clock: Clock
  readonly signal: AbortSignal
  readonly interlock: Interlock
  readonly board: RelayBoard
  readonly spec: CoverSpec
  /** How long a press is waited for, ms. */
  readonly presenceMs: number
  /** Called while a person is waited for. */
  readonly waits: () => void
  /** Makes the bench safe and ends the session, at once. */
  readonly trip: (why: string) => void
}

/** From the coil without power to the bolt home, ms (common practice: solenoid locks take a tenth of it). */
const boltMs = 500

export class Enclosure {
  readonly #ports: EnclosurePorts
  #cover: Cover | null = null
  /** The cover was seen open since it was locked last. */
  #wasOpened = false
  #lastLook: Promise<void> = Promise.resolve()
  #watching = new AbortController()

  constructor(ports: EnclosurePorts) { this.#ports = ports }

  /** Cover and button are waited for. */
  get isAsking(): boolean { return this.#cover?.is === 'asked' || this.#cover?.is === 'pulled' }

  /** False once the watched contact was not read as closed for longer than it may be. */
  get isSeen(): boolean {
    return this.#cover?.is !== 'tripped'
      && (this.#cover?.is !== 'watched' || this.#nowMs - this.#cover.closedMs < coverStaleMs)
  }

  /** What is asked of hands: a cover that was not opened since it was locked last is opened first. */
  get sentence(): string {
    return this.#wasOpened ? 'close the cover and press the button'
      : 'open the cover, close it and press the button'
  }

  /**
   * Resolves at a press of the button with the cover closed; rejects REFUSED where nobody presses in time, or
   * once `isOver` says that nobody is to any more. Nothing is energised meanwhile.
   */
  async pressed(isOver: () => boolean): Promise<void> {
    this.#watching.abort()
    this.#cover = askedFrom(this.#nowMs, this.#ports.presenceMs, this.#wasOpened)
    await this.#untilPressed(isOver, 'nobody closed the cover and pressed')
  }

  /**
   * Locked and not watched yet: resolves at a press after somebody pulled at the cover, which stayed closed.
   * Rejects TRIPPED where it came open, REFUSED where nobody presses.
   */
  async pulled(isOver: () => boolean): Promise<void> {
    this.#cover = pulledFrom(this.#nowMs, this.#ports.presenceMs)
    await this.#untilPressed(isOver, 'nobody pulled at the locked cover and pressed')
    this.#cover = null
  }

  async #untilPressed(isOver: () => boolean, unpressed: string): Promise<void> {
    for (;;) {
      const askedMs = this.#nowMs
      const look = await this.#look()
      if (isOver()) throw this.#given('a person ended the wait')
      this.#wasOpened ||= look?.coverClosed === false
      const is = this.#step({ type: 'look', look, askedMs })
      if (is === 'pressed') return
      if (is === 'unpressed') throw this.#given(unpressed)
      if (this.#cover?.is === 'tripped') throw new BenchError('TRIPPED', this.#cover.why)
      this.#ports.waits()
      await sleep(this.#ports.clock, coverPollMs, this.#ports.signal)
    }
  }

  /**
   * After a press: the lock is released and read back, and the bolt given its time. Rejects REFUSED where
   * nobody pressed.
   */
  async lock(): Promise<void> {
    const { board, spec, clock, signal } = this.#ports
    if (this.#cover?.is !== 'pressed') throw new BenchError('REFUSED', 'nobody pressed the button')
    this.#cover = null
    this.#wasOpened = false
    await board.release([spec.lockRelay])
    await sleep(clock, boltMs, signal)
  }

  /** Watched from now on. Rejects REFUSED where the locked cover is not closed. */
  async watch(): Promise<void> {
    const askedMs = this.#nowMs
    const look = await this.#look()
    if (!look?.coverClosed) throw new BenchError('REFUSED', 'the cover was not closed when it was locked')
    this.#watch(askedMs)
  }

  /** The lock is drawn; the caller has shown that nothing harmful stands behind the cover. */
  async free(): Promise<void> {
    const { board, spec, signal } = this.#ports
    signal.throwIfAborted()
    if (this.#cover?.is === 'tripped') throw new BenchError('TRIPPED', this.#cover.why)
    await this.#unwatch()
    signal.throwIfAborted()
    await board.hold([spec.lockRelay])
    this.#seeOpened()
  }

  /**
   * Once it was freed: whether it is seen open, for as long as a press is waited for and until `isOver` says
   * that nobody waits any more. `ask` is called once where it is closed.
   */
  async opened(ask: () => void, isOver: () => boolean): Promise<boolean> {
    const untilMs = this.#nowMs + this.#ports.presenceMs
    for (let isAsked = false; ; isAsked = true) {
      const look = await this.#look()
      if (look?.coverClosed === false) return true
      if (this.#nowMs >= untilMs || isOver()) return false
      if (!isAsked) ask()
      this.#ports.waits()
      await sleep(this.#ports.clock, coverPollMs, this.#ports.signal)
    }
  }

  /** As it is without power: while no session goes on, a cover that is closed stays so. */
  async shut(): Promise<void> {
    this.#watching.abort()
    await this.#ports.board.release([this.#ports.spec.lockRelay])
  }

  #given(why: string): BenchError {
    this.#cover = null
    return new BenchError('REFUSED', `it was not put under volts: ${why}`)
  }

  get #nowMs(): number { return this.#ports.clock.monotonicMs() }

  #step(input: CoverInput): Cover['is'] | null {
    if (this.#cover) this.#cover = stepCover(this.#cover, input, this.#nowMs)
    return this.#cover?.is ?? null
  }

  /** From here until a press is asked for. */
  #seeOpened(): void {
    void this.#every(this.#fromNow(), async () => {
      if ((await this.#look())?.coverClosed === false) this.#wasOpened = true
    })
  }

  /** Two loops: a contact that never answers must not hold up the judgement. */
  #watch(askedMs: number): void {
    this.#cover = watchedFrom(askedMs)
    const signal = this.#fromNow()
    this.#lastLook = this.#every(signal, async () => {
      const fromMs = this.#nowMs
      this.#judge({ type: 'look', look: await this.#look(), askedMs: fromMs })
    })
    void this.#every(signal, async () => this.#judge({ type: 'tick' }))
  }

  #fromNow(): AbortSignal {
    this.#watching = new AbortController()
    return AbortSignal.any([this.#watching.signal, this.#ports.signal])
  }

  async #unwatch(): Promise<void> {
    this.#watching.abort()
    if (this.#cover?.is === 'tripped') throw new BenchError('TRIPPED', this.#cover.why)
    this.#cover = null
    await this.#lastLook
  }

  #judge(input: CoverInput): void {
    const wasWatched = this.#cover?.is === 'watched'
    this.#step(input)
    const cover = this.#cover
    if (wasWatched && cover?.is === 'tripped') this.#ports.trip(cover.why)
  }

  async #every(signal: AbortSignal, act: () => Promise<void>): Promise<void> {
    while (!signal.aborted) {
      await act()
      await sleep(this.#ports.clock, coverPollMs, signal).catch(() => {})
    }
  }

  async #look(): Promise<Look | null> {
    return await this.#ports.interlock.read().catch(() => null)
  }
}
