/**
 * Readings of the bridge while two legs are joined: by a wire that relays lead, or by a person with a clip,
 * where it is seen on the bridge that the clip is on, and then that it is off again.
 */
import type { ImpedanceReading, Jig, Pair } from '../../schema/jig.ts'
import type { Guide } from './guide.ts'

const pauseMs = 50
/** Readings until a person is not waited for any more: about a minute. */
const looksMost = 300
/** So many in a row agree within this share before a clip counts as on. */
const [agreeing, agreeShare] = [3, 0.01]

interface Setup { readonly frequencyHz: number; readonly levelV: number }

export class Joining {
  readonly #jig: Jig
  readonly #guide: Guide
  /** Nobody came with a clip, or left it on: nothing is asked of them again. */
  #gaveUp = false

  constructor(jig: Jig, guide: Guide) {
    this.#jig = jig
    this.#guide = guide
  }

  /** The impedance of `pair` with `legs` joined; below `belowOhm` they are seen to be. Null: never seen. */
  async read(pair: Pair, legs: Pair, setup: Setup, belowOhm: number): Promise<ImpedanceReading | null> {
    if (this.#jig.reach.joint) return this.#jig.impedance(pair, setup, legs)
    if (this.#gaveUp) return null
    this.#guide.say(`join legs ${legs.high} and ${legs.low} with a clip`)
    const joined = await this.#until(pair, setup, size => size < belowOhm)
    this.#guide.say('take the clip off')
    const isOff = joined !== null && await this.#until(pair, setup, size => !(size < belowOhm)) !== null
    this.#gaveUp = !isOff
    return joined
  }

  async #until(
    pair: Pair, setup: Setup, wanted: (size: number) => boolean,
  ): Promise<ImpedanceReading | null> {
    let last = NaN
    let agreed = 0
    for (let look = 0; look < looksMost; look++) {
      const read = await this.#jig.impedance(pair, setup)
      const good = read.rOhm.quality === 'good' && read.xOhm.quality === 'good'
      const size = good ? Math.hypot(read.rOhm.value, read.xOhm.value) : Infinity
      const same = size === last || Math.abs(size - last) < agreeShare * size
      agreed = wanted(size) ? (same ? agreed + 1 : 1) : 0
      last = size
      if (agreed >= agreeing) return read
      this.#guide.goesOn()
      await this.#jig.rest(pauseMs)
    }
    return null
  }
}
