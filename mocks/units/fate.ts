/** When a bad joint of a unit lets go and comes back: a schedule drawn ahead of time from its own stream. */
import type { SeededRandom } from '../../src/base/random.ts'
import type { IntermittentTruth } from './truth.ts'

export class BadJoint {
  readonly truth: IntermittentTruth
  readonly #random: SeededRandom
  /** Instants of change: good before the first, bad until the second, and so on. */
  readonly #changes: number[] = []
  #drawnS = 0

  constructor(truth: IntermittentTruth, random: SeededRandom) {
    this.truth = truth
    this.#random = random
  }

  /** Whether it conducts at `tS`, where it is `celsius` warm. */
  conducts(tS: number, celsius: number): boolean {
    if (celsius < this.truth.aboveC) return true
    this.#draw(tS)
    return countBelow(this.#changes, tS) % 2 === 0
  }

  /** Stretches between `fromS` and `toS` in which it is open. */
  gaps(fromS: number, toS: number, celsius: number): [number, number][] {
    if (celsius < this.truth.aboveC) return []
    this.#draw(toS)
    const gaps: [number, number][] = []
    for (let i = 0; i + 1 < this.#changes.length; i += 2) {
      const [from, to] = [this.#changes[i]!, this.#changes[i + 1]!]
      if (to > fromS && from < toS) gaps.push([Math.max(from, fromS), Math.min(to, toS)])
    }
    return gaps
  }

  #draw(untilS: number): void {
    while (this.#drawnS <= untilS) {
      for (const mean of [this.truth.meanGoodS, this.truth.meanBadS]) {
        this.#drawnS -= mean * Math.log(1 - this.#random.next())
        this.#changes.push(this.#drawnS)
      }
    }
  }
}

/** How many of the ascending numbers are at or below `x`. */
function countBelow(ascending: readonly number[], x: number): number {
  let [low, high] = [0, ascending.length]
  while (low < high) {
    const half = (low + high) >> 1
    if (ascending[half]! <= x) low = half + 1
    else high = half
  }
  return low
}
