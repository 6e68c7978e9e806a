/** What a data sheet says of one kind of reading, as a standard uncertainty; and the bounds of what can be true. */
import type { Accuracy } from '../schema/profile-parts.ts'
import { suffixes } from './number.ts'

const root3 = Math.sqrt(3)
const root12 = Math.sqrt(12)

/**
 * The data sheet's limit of error is taken as rectangular (divided by √3), the last digit as rectangular over its width
 * (divided by √12), and both are combined in quadrature. Temperature is taken to be inside the data sheet's band.
 */
export class Scale {
  readonly #slope: number
  readonly #floor: number
  readonly #digit2: number
  /** Unit suffixes that an answer on this scale may carry. */
  readonly units: readonly string[]
  /** Values outside these cannot be true of a working instrument. */
  readonly lowest: number
  readonly highest: number

  /** `range` and `digit` in the unit of the reading. */
  constructor(
    unit: keyof typeof suffixes, accuracy: Accuracy, range: number, digit: number, lowest: number, highest: number,
  ) {
    this.units = suffixes[unit]
    this.#slope = accuracy.readingPct / 100 / root3
    this.#floor = (accuracy.rangePct / 100 * range + accuracy.counts * digit) / root3
    this.#digit2 = (digit / root12) ** 2
    this.lowest = lowest
    this.highest = highest
  }

  /** Standard uncertainty of a reading of `value`. */
  u(value: number): number {
    const limit = Math.abs(value) * this.#slope + this.#floor
    return Math.sqrt(limit * limit + this.#digit2)
  }
}
