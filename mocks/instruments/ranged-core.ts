/** What one function of a simulated multimeter does: ranges, speeds, hidden errors, noise, over-range. */
import type { SeededRandom } from '../../src/base/random.ts'
import type { Deferred } from '../scpi-device/command-tree.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'
import { refuse } from '../scpi-device/status.ts'
import { quantise, ReadingFaults, Specimen, type Limits } from './accuracy.ts'
import type { InstrumentSetup } from './instrument.ts'

/** `size` in the unit of the function. */
export interface CoreRange { readonly size: number; readonly overRange: number; readonly limits: Limits }

export interface Speeds {
  /** Power line cycles and resolution as a fraction of range. */
  readonly speeds: readonly (readonly [number, number])[]
  readonly overheadMs: number
  /** Conversions for one reading: 2 with auto-zero. */
  readonly conversions: number
}

export type MeterSetup = Pick<InstrumentSetup, 'mainsHz' | 'errors' | 'noiseFactor'>

/**
 * Noise of one reading, standard deviation in units of resolution: above it, so that no two readings repeat
 * for long.
 */
const noiseSteps = 1.2
const cyclesAtReset = 10

export abstract class RangedCore {
  autorange = true
  protected range: number
  readonly #ranges: readonly CoreRange[]
  readonly #speeds: Speeds
  #speed: number
  readonly #noise: SeededRandom
  readonly #specimens: Specimen[]
  readonly #readings: ReadingFaults
  readonly #stream: string
  readonly #mainsHz: number
  readonly #noiseSteps: number

  /** `stream` names the quantity, for faults that falsify readings. */
  constructor(
    ranges: readonly CoreRange[], speeds: Speeds, stream: string, random: SeededRandom, faults: FaultPanel,
    { mainsHz = 50, errors = 'inside', noiseFactor = 1 }: MeterSetup = {},
  ) {
    this.#ranges = ranges
    this.#speeds = speeds
    this.#stream = stream
    this.#mainsHz = mainsHz
    this.#noiseSteps = noiseSteps * noiseFactor
    this.#noise = random.fork('noise')
    this.#specimens = ranges.map((range, i) => new Specimen(range.limits, random.fork(`range-${i}`), errors))
    this.#readings = new ReadingFaults(faults)
    this.range = ranges.length - 1
    this.#speed = this.#speedOf(cyclesAtReset)
  }

  /** What a perfect instrument would read in the range that is set. */
  protected abstract truth(): number
  /** The range changes what there is to be read. */
  protected get rangeMatters(): boolean { return false }

  get size(): number { return this.#ranges[this.range]!.size }
  get nplc(): number { return this.#speeds.speeds[this.#speed]![0] }
  /** Last digit of a reading now. */
  get step(): number { return this.#speeds.speeds[this.#speed]![1] * this.size }
  /** Time of one reading, ms. */
  get readingMs(): number {
    const { conversions, overheadMs } = this.#speeds
    return conversions * this.nplc * 1000 / this.#mainsHz + overheadMs
  }

  reset(): void {
    this.autorange = true
    this.range = this.#ranges.length - 1
    this.#speed = this.#speedOf(cyclesAtReset)
  }

  /** Fixes the smallest range that holds `size`. */
  fixRange(size: number): void {
    const found = this.#ranges.findIndex(range => range.size >= Math.abs(size) * (1 - 1e-9))
    if (found < 0) refuse(-222)
    this.range = found
    this.autorange = false
  }

  /** Ranges by itself, or stays in the range it stands in. */
  setAuto(on: boolean): void {
    if (on) this.autorange = true
    else this.fixRange(this.size)
  }

  setNplc(nplc: number): void { this.#speed = this.#speedOf(nplc) }

  /** One reading at this instant: ±Infinity when out of range. */
  read(): number {
    if (this.autorange) this.#findRange()
    return this.#readHere()
  }

  /** A reading that takes its time and samples when that is over. */
  measure(print: (value: number) => string): Deferred {
    return { waitMs: this.readingMs, finish: () => print(this.read()) }
  }

  #findRange(): void {
    this.range = 0
    let value = this.truth()
    for (; this.range < this.#ranges.length - 1; this.range++) {
      if (this.rangeMatters) value = this.truth()
      if (Math.abs(value) <= this.size * this.#ranges[this.range]!.overRange) return
    }
  }

  #readHere(): number {
    const { size, overRange } = this.#ranges[this.range]!
    const { step } = this
    const value = this.#specimens[this.range]!.of(this.truth(), size)
      + this.#noise.normal() * this.#noiseSteps * step
    if (!(Math.abs(value) <= size * overRange)) return this.#overflow(value)
    return this.#readings.falsify(quantise(value, step), this.#stream)
  }

  /** Out of range; ranging by itself it goes up one and reads again, as long as there is one. */
  #overflow(value: number): number {
    if (!this.autorange || this.range + 1 >= this.#ranges.length) return Math.sign(value) * Infinity
    this.range++
    return this.#readHere()
  }

  #speedOf(nplc: number): number {
    const found = this.#speeds.speeds.findIndex(([cycles]) => Math.abs(cycles - nplc) < 1e-6 * cycles)
    return found < 0 ? refuse(-222) : found
  }
}
