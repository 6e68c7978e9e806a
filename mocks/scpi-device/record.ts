/**
 * What an instrument received and what it did, with device time, for tests such as "the output went off at
 * t".
 */

export interface ReceivedLine { readonly atMs: number; readonly line: string }
export interface Effect { readonly atMs: number; readonly what: string; readonly value: number }

/** The last lines, in a ring; a night has millions. */
export class ReceivedLog {
  readonly #atMs: Float64Array
  readonly #lines: string[]
  #total = 0

  constructor(keep = 2048) {
    this.#atMs = new Float64Array(keep)
    this.#lines = new Array<string>(keep).fill('')
  }

  /** Lines received in all, also those no longer kept. */
  get total(): number { return this.#total }

  add(atMs: number, line: string): void {
    const slot = this.#total++ % this.#lines.length
    this.#atMs[slot] = atMs
    this.#lines[slot] = line
  }

  /** Oldest first. */
  list(): ReceivedLine[] {
    const kept = Math.min(this.#total, this.#lines.length)
    return Array.from({ length: kept }, (_, i) => {
      const slot = (this.#total - kept + i) % this.#lines.length
      return { atMs: this.#atMs[slot]!, line: this.#lines[slot]!.trim() }
    })
  }
}

/** Changes of what stands at the terminals. Bounded: the oldest half goes when it is full. */
export class EffectLog {
  #effects: Effect[] = []
  readonly #keep: number
  constructor(keep = 20_000) { this.#keep = keep }

  add(atMs: number, what: string, value: number): void {
    if (this.#effects.length >= this.#keep) this.#effects = this.#effects.slice(this.#keep >> 1)
    this.#effects.push({ atMs, what, value })
  }

  list(what?: string): readonly Effect[] {
    return what === undefined ? this.#effects : this.#effects.filter(effect => effect.what === what)
  }

  /** The last change of `what`, or undefined when there was none. */
  last(what: string): Effect | undefined { return this.#effects.findLast(effect => effect.what === what) }
}
