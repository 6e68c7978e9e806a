/** The track of a potentiometer and the shaft that moves its wiper. */
import type { Conditions } from './element.ts'
import { Fluctuating, Resistor, type ResistorTruth } from './passive.ts'

const leastOhm = 0.1

/** From one stop, 0, to the other, 1. */
export class Shaft {
  #turned: number
  #target: number
  #step = 0

  constructor(turned: number) {
    this.#turned = turned
    this.#target = turned
  }

  get turned(): number { return this.#turned }

  /** A hand begins to turn it, from stop to stop in so many moves. */
  turnTo(target: number, moves: number): void {
    this.#target = target
    this.#step = 1 / Math.max(1, moves)
  }

  move(): void {
    const left = this.#target - this.#turned
    this.#turned = Math.abs(left) <= this.#step ? this.#target : this.#turned + Math.sign(left) * this.#step
  }
}

/** Share of the track between its beginning and the wiper; `midShare` of it at half a turn. */
export const shareAt = (turned: number, midShare: number): number =>
  turned < 0.5 ? 2 * midShare * turned : midShare + (2 * turned - 1) * (1 - midShare)

/** The part of the track on one side of the wiper. */
export class Track extends Resistor {
  readonly shaft: Shaft
  readonly #wholeOhm: number
  readonly #midShare: number
  readonly #isFar: boolean

  constructor(
    a: number, b: number, truth: ResistorTruth,
    { shaft, midShare, isFar }: { shaft: Shaft; midShare: number; isFar: boolean },
  ) {
    super(a, b, { ...truth, ohm: 1 })
    this.shaft = shaft
    this.#wholeOhm = truth.ohm
    this.#midShare = midShare
    this.#isFar = isFar
  }

  override ohmAt(volts: number, conditions: Conditions): number {
    const near = shareAt(this.shaft.turned, this.#midShare)
    const share = this.#isFar ? 1 - near : near
    return Math.max(leastOhm, this.#wholeOhm * share) * super.ohmAt(volts, conditions)
  }
}

/** Half the width of a worn spot, in turns. */
const spotHalf = 0.02

/** What the wiper adds where it touches: more, and nothing steady, on a worn spot of the track. */
export class Wiper extends Fluctuating {
  readonly shaft: Shaft
  readonly #spot: { readonly at: number; readonly ohm: number }

  constructor(
    a: number, b: number, { ohm, spread }: { ohm: number; spread: number }, shaft: Shaft,
    spot: { readonly at: number; readonly ohm: number },
  ) {
    super(a, b, ohm, spread)
    this.shaft = shaft
    this.#spot = spot
  }

  override ohmAt(): number {
    const isWorn = Math.abs(this.shaft.turned - this.#spot.at) < spotHalf
    return super.ohmAt() + (isWorn ? this.#spot.ohm : 0)
  }
}
