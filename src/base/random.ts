/** A small seeded generator (xoshiro128** seeded by splitmix32): the same stream on every machine. */
export class SeededRandom {
  #a: number; #b: number; #c: number; #d: number
  #spare: number | undefined

  constructor(seed: number | string) {
    let h = typeof seed === 'number' ? seed >>> 0 : hash32(seed)
    const next = (): number => {
      h = (h + 0x9e3779b9) >>> 0
      let z = h
      z = Math.imul(z ^ (z >>> 16), 0x21f0aaad)
      z = Math.imul(z ^ (z >>> 15), 0x735a2d97)
      return (z ^ (z >>> 15)) >>> 0
    }
    this.#a = next(); this.#b = next(); this.#c = next(); this.#d = next()
  }

  /** A child stream named `label`: adding one consumer does not shift the numbers of another. */
  fork(label: string): SeededRandom {
    return new SeededRandom(`${this.#a}:${this.#b}:${this.#c}:${this.#d}:${label}`)
  }

  /** Uniform in [0, 1). */
  next(): number {
    const t = this.#b << 9
    let r = Math.imul(this.#b, 5)
    r = Math.imul((r << 7) | (r >>> 25), 9)
    this.#c ^= this.#a; this.#d ^= this.#b; this.#b ^= this.#c; this.#a ^= this.#d
    this.#c ^= t
    this.#d = (this.#d << 11) | (this.#d >>> 21)
    return (r >>> 0) / 4294967296
  }

  uniform(low: number, high: number): number { return low + (high - low) * this.next() }
  /** Integer in [low, high]. */
  integer(low: number, high: number): number { return low + Math.floor(this.next() * (high - low + 1)) }
  pick<T>(items: readonly T[]): T { return items[Math.floor(this.next() * items.length)]! }

  /** Normal deviate, mean 0 and standard deviation 1 (polar method). */
  normal(): number {
    if (this.#spare !== undefined) { const s = this.#spare; this.#spare = undefined; return s }
    for (;;) {
      const x = 2 * this.next() - 1
      const y = 2 * this.next() - 1
      const s = x * x + y * y
      if (s === 0 || s >= 1) continue
      const m = Math.sqrt(-2 * Math.log(s) / s)
      this.#spare = y * m
      return x * m
    }
  }
}

function hash32(text: string): number {
  let h = 2166136261
  for (let i = 0; i < text.length; i++) h = Math.imul(h ^ text.charCodeAt(i), 16777619)
  return h >>> 0
}
