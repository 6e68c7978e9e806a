/**
 * What a data sheet says of one kind of reading, as a standard uncertainty; and the bounds of what can be
 * true.
 */
import type { Accuracy } from '../schema/profile-parts.ts'

export interface ScaleSpec {
  /** As src/scpi/values.ts names it. */
  readonly unit: 'V' | 'A' | 'Ohm' | 'Cel' | 'W' | 'Hz'
  readonly accuracy: Accuracy
  /** Range and last digit, in the unit of the reading. */
  readonly range: number
  readonly digit: number
  /** Standard deviation of the instrument's own noise, in the unit of the reading. */
  readonly noise?: number
  /** Values outside these cannot be true of a working instrument. */
  readonly lowest: number
  readonly highest: number
}

const root3 = Math.sqrt(3)
const root12 = Math.sqrt(12)

/**
 * The data sheet's limit of error is taken as rectangular (divided by √3), the last digit as rectangular over
 * its width (divided by √12), and these and the noise are combined in quadrature. Temperature is taken to be
 * inside the data sheet's band.
 */
export class Scale {
  /** The unit that an answer on this scale may carry. */
  readonly unit: ScaleSpec['unit']
  readonly lowest: number
  readonly highest: number
  readonly #slope: number
  readonly #floor: number
  readonly #steady2: number

  constructor({ unit, accuracy, range, digit, noise = 0, lowest, highest }: ScaleSpec) {
    this.unit = unit
    this.lowest = lowest
    this.highest = highest
    this.#slope = accuracy.readingPct / 100 / root3
    this.#floor = (accuracy.rangePct / 100 * range + accuracy.counts * digit) / root3
    this.#steady2 = (digit / root12) ** 2 + noise ** 2
  }

  /** Standard uncertainty of a reading of `value`. */
  u(value: number): number {
    const limit = Math.abs(value) * this.#slope + this.#floor
    return Math.sqrt(limit * limit + this.#steady2)
  }
}
