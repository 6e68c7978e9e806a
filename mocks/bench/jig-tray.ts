/** A tray behind a scanner at a simulated jig: what lies on its positions, and what its wiring really is. */
import type { Clock } from '../../src/base/clock.ts'
import { SeededRandom } from '../../src/base/random.ts'
import type { Component } from '../components/component.ts'
import { Scanned, type ChannelTruth, type ClosedChannel, type CommonTruth } from '../components/scanned.ts'
import { scannerFigures } from '../instruments/specifications.ts'

/** Beyond those of leads, joint and cover. */
export const trayJoin = [43, 44] as const
export const trayScanner = 'scanner-b'
/** Contacts come back within this, Ω; so do parts in their clips (ours). */
const repeatOhm = 0.02
/** From the terminals to the holder of the jig (ours). */
const wire: ChannelTruth = { seriesOhm: 2e-3, seriesH: 0, emfV: 0, strayF: 0 }

export const trayNames = (count: number): string[] =>
  Array.from({ length: count }, (_, i) => `T${String(i + 1).padStart(2, '0')}`)

export class JigTray {
  readonly names: readonly string[]
  /** Called when what the common line shows has changed. */
  onChange: () => void = () => {}
  readonly #clock: Clock
  readonly #settleMs: number
  readonly #random: SeededRandom
  readonly #common: CommonTruth
  readonly #channels: readonly ChannelTruth[]
  readonly #lying: (Component | null)[]
  #closed: readonly number[] = []
  readonly #comesBack = new Map<number, number>()
  #inAir = false

  constructor(clock: Clock, seed: number, count: number, instant: boolean) {
    this.#clock = clock
    this.#settleMs = instant ? 0 : scannerFigures[trayScanner].settleMs
    this.names = trayNames(count)
    this.#lying = this.names.map(() => null)
    const random = new SeededRandom(seed).fork('tray')
    this.#random = random.fork('contacts')
    this.#common = { strayF: random.uniform(20e-12, 25e-12), leakageOhm: random.uniform(8e11, 3e12) }
    this.#channels = this.names.map(() => ({
      seriesOhm: random.uniform(0.15, 0.4), seriesH: random.uniform(0.1e-6, 0.2e-6),
      emfV: random.uniform(-3e-6, 3e-6), strayF: random.uniform(4e-12, 5e-12),
    }))
  }

  /** `channels`: those that are really closed from now on. Their contacts bounce for a while. */
  closed(channels: readonly number[]): void {
    if (channels.length === this.#closed.length && channels.every(one => this.#closed.includes(one))) return
    this.#closed = [...channels]
    for (const channel of channels) {
      this.#comesBack.set(channel, this.#random.uniform(-repeatOhm, repeatOhm))
    }
    this.#inAir = this.#settleMs > 0
    if (this.#inAir) this.#clock.after(this.#settleMs, () => { this.#inAir = false; this.onChange() })
    this.onChange()
  }

  /** Puts a part on a position, or takes it off. */
  lay(name: string, part: Component | null): void {
    const at = this.names.indexOf(name)
    if (at < 0) throw new Error(`there is no position ${name} on the tray`)
    this.#lying[at] = part
    part?.putIn()
    this.onChange()
  }

  /** As a bench file has them. */
  get positions(): object[] { return this.names.map((name, i) => ({ name, channel: i + 1 })) }

  clear(): void { for (const name of this.names) this.lay(name, null) }

  lying(name: string): Component | null { return this.#lying[this.names.indexOf(name)] ?? null }

  /** What the terminals see of it, with a part in the holder of the jig beside it. */
  seen(holder: Component | null): Scanned {
    const closed = this.#inAir ? [] : this.#closed.filter(channel => channel <= this.names.length)
    const channels = closed.map((channel): ClosedChannel => {
      const truth = this.#channels[channel - 1]!
      const seriesOhm = truth.seriesOhm + this.#comesBack.get(channel)!
      return { truth: { ...truth, seriesOhm }, part: this.#lying[channel - 1]! }
    })
    return new Scanned(this.#common, holder ? [...channels, { truth: wire, part: holder }] : channels)
  }
}
