/**
 * Where the leads of a jig lie on a part that has more legs than the jig has terminals: a person moves them
 * as they are told to. Both are off for a while, then each is on where it was said.
 */

/** Moments that leads hang in the air, and that lie between the first lead back on and the next. */
const [offMoments, betweenMoments] = [40, 10]

const led = /lead (\d) to ([^,;]+?)(?: of ((?:winding|gang) \d))?(?=[,;]|$)/g

export class MovedLeads {
  readonly #pins: readonly string[]
  /** Pin at each terminal; null while its lead hangs in the air. */
  readonly #at: (number | null)[]
  readonly #first: readonly number[]
  readonly #coming: { terminal: number; pin: number; left: number }[] = []

  /** `first`: the pins on which leads lie as the part was put in, by terminal. */
  constructor(pins: readonly string[], first: readonly string[]) {
    this.#pins = pins
    this.#first = first.map(pin => pins.indexOf(pin))
    this.#at = [...this.#first]
  }

  reset(): void {
    this.#coming.length = 0
    this.#at.splice(0, this.#at.length, ...this.#first)
  }

  at(terminal: number): number | null { return this.#at[terminal] ?? null }

  /** `lead 3 to the beginning of winding 2, lead 4 to its tap 1`. */
  hear(text: string): void {
    let whole = ''
    let left = offMoments
    for (const [, terminal, where, of] of text.matchAll(led)) {
      whole = of ?? whole
      const point = where!.replace(/^(its|the same|the|an) /, '')
      const pin = this.#pins.indexOf(`${whole} ${point}`)
      if (pin < 0) continue
      this.#at[Number(terminal) - 1] = null
      this.#coming.push({ terminal: Number(terminal) - 1, pin, left })
      left += betweenMoments
    }
  }

  /** A moment goes by. */
  move(): void {
    for (const one of this.#coming) {
      one.left--
      if (one.left === 0) this.#at[one.terminal] = one.pin
    }
    const done = this.#coming.findIndex(({ left }) => left > 0)
    this.#coming.splice(0, done < 0 ? this.#coming.length : done)
  }
}
