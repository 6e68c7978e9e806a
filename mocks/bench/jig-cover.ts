/** The cover over a simulated jig: its contact, a bolt that wants power to be drawn, a button, hands. */
import type { Clock } from '../../src/base/clock.ts'
import { BenchSwitches } from '../instruments/terminals.ts'

/** Beyond those of the leads. */
export const coverRelays = { lockRelay: 41, bleedRelay: 42 } as const
export const bleederOhm = 68e3
/** From the coil without power to the bolt home, ms (ours). */
const boltMs = 200
/** Direct volts that may be touched (common practice). */
const touchSafeV = 60

export class JigCover {
  /** Its contact and the button: the reader and the source see these, and a contact may be at fault. */
  readonly switches = new BenchSwitches()
  /** What stood above touch-safe while the cover was open or not locked, in words. */
  readonly exposed: string[] = []
  /** Called when it opens or closes, or the bolt moves. */
  onChange: () => void = () => {}
  readonly #clock: Clock
  #isClosed = true
  #isFreed = false
  #isHome = true
  #isBroken = false
  #isKeyed = false

  constructor(clock: Clock) {
    this.#clock = clock
    this.switches.onCover(() => {
      // A contact that bounces cannot close where the cover is open.
      if (this.switches.coverClosed && !this.#isClosed) this.switches.coverClosed = false
      this.onChange()
    })
  }

  get isClosed(): boolean { return this.#isClosed }
  get isLocked(): boolean { return this.#isClosed && this.#isHome && !this.#isBroken }

  /** What is met behind a cover that a key opened is met by somebody who was told to use a stick. */
  get isKeyed(): boolean { return this.#isKeyed }

  /** The coil draws the bolt while it has power, at once; a spring brings it home. */
  set freed(isFreed: boolean) {
    if (isFreed === this.#isFreed) return
    this.#isFreed = isFreed
    if (isFreed) this.#bolt(false)
    else this.#clock.after(boltMs, () => { if (!this.#isFreed) this.#bolt(true) })
  }

  close(): void {
    this.#isKeyed = false
    this.#move(true)
  }

  /** Whether it came open: a bolt that is home holds it. */
  tryOpen(): boolean {
    if (this.isLocked) return false
    this.#move(false)
    return true
  }

  /** By a lever: the bolt gives way, for good. */
  force(): void {
    this.#isBroken = true
    this.#move(false)
  }

  /** Pressed for so long, ms. */
  press(forMs: number): void {
    this.switches.present = true
    this.#clock.after(forMs, () => { this.switches.present = false })
  }

  /** `volts` may stand at the terminals now. */
  see(volts: number): void {
    if (volts <= touchSafeV || this.isLocked || this.#isKeyed) return
    const how = this.#isClosed ? 'not locked' : 'open'
    this.exposed.push(`${volts.toFixed(1)} V while the cover was ${how}, at ${this.#clock.monotonicMs()} ms`)
  }

  /** `volts` came back in a part that somebody had taken out. */
  inHand(volts: number): void {
    if (volts <= touchSafeV) return
    this.exposed.push(`${volts.toFixed(1)} V in a hand, at ${this.#clock.monotonicMs()} ms`)
  }

  /** By its key: the bolt is drawn by hand, and goes home again when the cover is closed. */
  unlock(): void {
    this.#isKeyed = true
    this.#move(false)
  }

  #bolt(isHome: boolean): void {
    this.#isHome = isHome
    this.onChange()
  }

  #move(isClosed: boolean): void {
    this.#isClosed = isClosed
    this.switches.coverClosed = isClosed
    this.onChange()
  }
}
