/**
 * Quads and sets of N from a lot. One quantity: the cheapest there are. Several: a good division, found from
 * several starts and improved by exchanges, with a bound that no division can beat printed beside it (the
 * problem has no known quick exact method for three or more to a set).
 */
import { assert } from '../../base/assert.ts'
import { distanceTable, distanceWithin, type DistanceTable, type MatchQuantity } from './distance.ts'
import { startingDivisions } from './divisions.ts'
import { improve } from './exchange.ts'
import { blocksOnLine } from './line.ts'
import { nearestNeighbours } from './neighbours.ts'
import { boundOfSets } from './set-bound.ts'

export interface SetRequest {
  quantities: readonly MatchQuantity[]
  /** Parts to a set, 3 or more; for 2 use `matchPairs`. */
  size: number
  /**
   * What leaving one part over costs, in the unit of the weighted distance. Left out: as many sets as can be
   * found, and the cheapest found of those.
   */
  leftOverCost?: number
}

export interface MatchedSet {
  /** Part numbers, ascending. */
  parts: number[]
  /** Sum of the weighted distances of all pairs within the set. */
  distance: number
}

export interface SetResult {
  /** By distance, the closest first. */
  sets: MatchedSet[]
  leftOver: number[]
  /** Sum over the sets. */
  distance: number
  /** Sum plus what the parts left over cost (nothing when leaving over has no price). */
  cost: number
  /**
   * No division can cost less than this: of all divisions when leaving over has a price, else of those with
   * this many sets.
   */
  costAtLeast: number
  /** True where the method is exact: `costAtLeast` is then the cost. */
  optimal: boolean
}

/** Sets that hold one of a part's nearest few are the ones its set is divided anew with. */
const neighbours = 8

/**
 * Divides a lot into sets. Asserts what `distanceTable` does, a whole size of 3 or more, parts for one set at
 * least and leftOverCost of 0 or more.
 */
export function matchSets({ quantities, size, leftOverCost }: SetRequest): SetResult {
  const table = distanceTable(quantities)
  assert(Number.isInteger(size) && size >= 3, `a set takes a whole number of parts, 3 or more, got ${size}`)
  assert(table.n >= size, `a set of ${size} needs as many parts, got ${table.n}`)
  assert(leftOverCost === undefined || leftOverCost >= 0, 'leftOverCost must be 0 or more')
  if (table.line) return summed(table, blocksOnLine(table, size, leftOverCost), leftOverCost)
  const near = nearestNeighbours(table, neighbours + size)
  const around: number[][] = Array.from({ length: table.n }, () => [])
  for (const [a, b] of near) { around[a]!.push(b); around[b]!.push(a) }
  const improved = startingDivisions(table, size).map(sets => improve(table, sets, around, leftOverCost))
  const fewer = (a: SetResult, b: SetResult): number =>
    (leftOverCost === undefined ? a.leftOver.length - b.leftOver.length : 0)
  const best = improved.map(sets => summed(table, sets, leftOverCost, 0))
    .sort((a, b) => fewer(a, b) || a.cost - b.cost)[0]!
  const sets = leftOverCost === undefined ? best.sets.length : undefined
  const bound = boundOfSets({ table, size, leftOverCost, sets, near, found: best.cost })
  return { ...best, costAtLeast: Math.min(best.cost, bound) }
}

function summed(
  table: DistanceTable, found: readonly (readonly number[])[], leftOverCost = 0, bound?: number,
): SetResult {
  const sets = found
    .map(parts => ({ parts: [...parts].sort((a, b) => a - b), distance: distanceWithin(table, parts) }))
    .sort((a, b) => a.distance - b.distance || a.parts[0]! - b.parts[0]!)
  const taken = new Set(sets.flatMap(s => s.parts))
  const leftOver = Array.from({ length: table.n }, (_, i) => i).filter(i => !taken.has(i))
  const distance = sets.reduce((total, s) => total + s.distance, 0)
  const cost = distance + leftOver.length * leftOverCost
  return { sets, leftOver, distance, cost, costAtLeast: bound ?? cost, optimal: bound === undefined }
}
