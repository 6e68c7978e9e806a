/** A binary heap of events: the earliest leaves first. Times are finite numbers, codes whole numbers. */
export class EventHeap {
  readonly #times: number[] = []
  readonly #codes: number[] = []

  get size(): number { return this.#times.length }

  clear(): void { this.#times.length = 0; this.#codes.length = 0 }

  push(time: number, code: number): void {
    const [times, codes] = [this.#times, this.#codes]
    let at = times.length
    times.push(time)
    codes.push(code)
    while (at > 0) {
      const above = (at - 1) >> 1
      if (times[above]! <= time) break
      times[at] = times[above]!
      codes[at] = codes[above]!
      at = above
    }
    times[at] = time
    codes[at] = code
  }

  /** Takes the earliest event off; undefined when there is none. */
  pop(): { time: number; code: number } | undefined {
    const [times, codes] = [this.#times, this.#codes]
    if (times.length === 0) return undefined
    const first = { time: times[0]!, code: codes[0]! }
    const [time, code] = [times.pop()!, codes.pop()!]
    if (times.length > 0) this.#sink(time, code)
    return first
  }

  #sink(time: number, code: number): void {
    const [times, codes] = [this.#times, this.#codes]
    let at = 0
    for (;;) {
      let below = 2 * at + 1
      if (below >= times.length) break
      if (below + 1 < times.length && times[below + 1]! < times[below]!) below++
      if (times[below]! >= time) break
      times[at] = times[below]!
      codes[at] = codes[below]!
      at = below
    }
    times[at] = time
    codes[at] = code
  }
}
