/** Improves a division into sets by exchanges of single parts until none gains. */
import type { DistanceTable } from './distance.ts'

/** A gain below this share of the cost is rounding. */
const hair = 1e-12
const passesAtMost = 50

/**
 * Exchanges single parts between sets and with the parts left over, as long as the cost falls; then, where
 * leaving over has a price, gives up sets that cost more than it. Sets keep the limits. The division given is
 * not changed.
 */
export function improve(
  table: DistanceTable, sets: readonly (readonly number[])[], leftOverCost: number | undefined,
): number[][] {
  const groups = sets.map(set => [...set])
  const taken = new Set(groups.flat())
  const left = Array.from({ length: table.n }, (_, i) => i).filter(i => !taken.has(i))
  for (let pass = 0; pass < passesAtMost; pass++) {
    let moved = false
    for (let g = 0; g < groups.length; g++) {
      for (let h = g + 1; h < groups.length; h++) moved = exchange(table, groups[g]!, groups[h]!) || moved
      moved = replace(table, groups[g]!, left) || moved
    }
    if (!moved) break
  }
  if (leftOverCost === undefined) return groups
  const cost = (set: number[]): number => set.reduce((sum, p, i) => sum + joining(table, set, i, p), 0) / 2
  return groups.filter(set => cost(set) <= leftOverCost * set.length)
}

/** What `part` would cost in the set in the place of its member at `place`. */
function joining(table: DistanceTable, set: readonly number[], place: number, part: number): number {
  let total = 0
  for (let i = 0; i < set.length; i++) if (i !== place) total += table.between(set[i]!, part)
  return total
}

/** The best exchange of one part each between two sets, if any gains. */
function exchange(table: DistanceTable, one: number[], other: number[]): boolean {
  const ownA = one.map((p, i) => joining(table, one, i, p))
  const ownB = other.map((p, i) => joining(table, other, i, p))
  // by the triangle's rule no exchange gains between sets this far apart, and most pairs of sets are
  if (table.between(one[0]!, other[0]!) > 1.5 * (Math.max(...ownA) + Math.max(...ownB))) return false
  for (let i = 0; i < one.length; i++) {
    for (let j = 0; j < other.length; j++) {
      const now = ownA[i]! + ownB[j]!
      const then = joining(table, one, i, other[j]!) + joining(table, other, j, one[i]!)
      if (!(then < now - hair * now)) continue
      ;[one[i], other[j]] = [other[j]!, one[i]!]
      return true
    }
  }
  return false
}

function replace(table: DistanceTable, set: number[], left: number[]): boolean {
  for (let i = 0; i < set.length; i++) {
    const now = joining(table, set, i, set[i]!)
    const at = left.findIndex(part => joining(table, set, i, part) < now - hair * now)
    if (at < 0) continue
    ;[set[i], left[at]] = [left[at]!, set[i]!]
    return true
  }
  return false
}
