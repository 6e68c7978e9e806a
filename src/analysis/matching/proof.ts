/**
 * Proof that a matching is the cheapest of all, over every pair of parts and not only those the search was
 * given: duals that break no rule, and complementary slackness, all in whole numbers.
 */
import type { Blossoms } from './blossoms.ts'

export interface Proven {
  blossoms: Blossoms
  y: Float64Array
  leftOver: Float64Array
  /** Cost of every pair, a whole number; Infinity for a pair that is forbidden. */
  costOf(a: number, b: number): number
}

/**
 * Pairs whose cost is below what the duals say it is worth. None of them, and `slack` too: the matching is
 * optimal. O(n²) costs.
 */
export function pairsAgainst({ blossoms, y, costOf }: Proven): [a: number, b: number][] {
  const against: [number, number][] = []
  const shared = new SharedDuals(blossoms)
  for (let a = 1; a < blossoms.n; a++) {
    const z = shared.rowOf(a)
    for (let b = 0; b < a; b++) if (costOf(a, b) < y[a]! + y[b]! - z[b]!) against.push([a, b])
  }
  return against
}

/** What breaks complementary slackness, in words; empty when nothing does. */
export function slacknessFaults({ blossoms, y, leftOver, costOf }: Proven): string[] {
  const faults: string[] = []
  const shared = new SharedDuals(blossoms)
  blossoms.mate.forEach((w, v) => {
    if (w >= 0 && blossoms.mate[w] !== v) faults.push(`${v} has partner ${w}, which has another`)
    if (y[v]! > leftOver[v]!) faults.push(`dual of ${v} is above the cost of leaving it out`)
    if (w < 0 && y[v]! !== leftOver[v]!) faults.push(`${v} is left out at another price than its dual`)
    if (w > v && costOf(v, w) !== y[v]! + y[w]! - shared.rowOf(v)[w]!) faults.push(`pair ${v}-${w} has slack`)
  })
  return [...faults, ...blossomFaults(blossoms)]
}

function blossomFaults(blossoms: Blossoms): string[] {
  const faults: string[] = []
  for (let b = blossoms.n; b < blossoms.z.length; b++) {
    if (!blossoms.children[b]) continue
    const inside = new Set(blossoms.vertices(b))
    const lone = [...inside].filter(v => !inside.has(blossoms.mate[v]!)).length
    if (blossoms.z[b]! < 0) faults.push(`dual of blossom ${b} is below 0`)
    if (blossoms.z[b]! > 0 && lone !== 1) faults.push(`blossom ${b} has a dual, ${lone} left inside`)
  }
  return faults
}

/** For one vertex at a time: what the duals of the blossoms that hold it and another too add up to. */
class SharedDuals {
  readonly #blossoms: Blossoms
  readonly #row: Float64Array
  /** A vertex of the blossom the row holds entries for, -1 for none. */
  #filled = -1
  constructor(blossoms: Blossoms) { this.#blossoms = blossoms; this.#row = new Float64Array(blossoms.n) }

  /** Entry b: the sum for a and b. Good until the next call. O(size of the outermost blossom of a). */
  rowOf(a: number): Float64Array {
    const [blossoms, row] = [this.#blossoms, this.#row]
    if (this.#filled >= 0) blossoms.eachVertex(blossoms.top(this.#filled), v => { row[v] = 0 })
    this.#filled = a
    const around: number[] = []
    for (let t = blossoms.parent[a]!; t >= 0; t = blossoms.parent[t]!) around.push(t)
    let total = 0
    while (around.length > 0) {
      const t = around.pop()!
      total += blossoms.z[t]!
      this.#fill(t, around.at(-1) ?? a, total)
    }
    return row
  }

  /** All of blossom t but its child `inner`, which is filled later. */
  #fill(t: number, inner: number, total: number): void {
    for (const child of this.#blossoms.children[t]!) {
      if (child !== inner) this.#blossoms.eachVertex(child, v => { this.#row[v] = total })
    }
  }
}
