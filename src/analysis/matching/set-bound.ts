/** What no division of a lot into sets can undercut. */
import type { DistanceTable } from './distance.ts'
import { Nearest } from './neighbours.ts'
import { leastMatching } from './pairs.ts'

/**
 * A bound from below on the cost of any division into sets of `size`: over all divisions, with `leftOverCost`
 * a part; or, when `sets` is given, over divisions into that many sets, parts left over costing nothing.
 * The greater of two bounds:
 * - each part in a set is joined to size-1 others, so its share is at least half the sum of its size-1
 *   nearest;
 * - for an even size all pairs within sets fall into size-1 pairings of the same parts (a round robin), and
 *   none is cheaper than the cheapest pairing.
 * The second needs every part that is not left over to be paired, so it stands only where nothing is left
 * over or leaving over has a price.
 */
export function boundOfSets(table: DistanceTable, size: number, leftOverCost: number, sets?: number): number {
  const shares = sharesOf(table, size)
  const nearest = sets === undefined
    ? shares.reduce((total, share) => total + Math.min(share, leftOverCost), 0)
    : shares.sort().slice(0, sets * size).reduce((total, share) => total + share, 0)
  return Math.max(nearest, size % 2 === 0 ? roundRobin(table, size, leftOverCost, sets) : 0)
}

function sharesOf(table: DistanceTable, size: number): Float64Array {
  return Float64Array.from({ length: table.n }, (_, i) => {
    const near = new Nearest(size - 1)
    for (let p = 0; p < table.n; p++) {
      const distance = p === i ? Infinity : table.between(i, p)
      if (distance < Infinity) near.offer(p, distance)
    }
    return near.parts.length < size - 1 ? Infinity : near.distances.reduce((total, d) => total + d, 0) / 2
  })
}

/** (size-1) times the cheapest pairing, a part left over costing its share of leaving it over. */
function roundRobin(table: DistanceTable, size: number, leftOverCost: number, sets?: number): number {
  if (sets === undefined) return (size - 1) * leastMatching(table, leftOverCost / (size - 1))
  return sets * size === table.n ? (size - 1) * leastMatching(table, undefined) : 0
}
