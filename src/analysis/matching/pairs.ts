/**
 * Pairs from a lot, the cheapest there are: by weighted distance, with hard limits and a cost for each part
 * left over. One quantity: neighbours in sorted order, by dynamic programming. Several: minimum-cost matching
 * on each part's nearest neighbours, then a proof over all pairs; pairs that speak against it join the graph
 * and the search runs again.
 */
import { assert } from '../../base/assert.ts'
import { distanceTable, type DistanceTable, type MatchQuantity } from './distance.ts'
import { blocksOnLine } from './line.ts'
import { MatchingSearch } from './matching-search.ts'
import { nearestNeighbours } from './neighbours.ts'
import { pairsAgainst, slacknessFaults } from './proof.ts'
import { sparseGraph } from './sparse-graph.ts'

export interface PairRequest {
  quantities: readonly MatchQuantity[]
  /**
   * What leaving one part over costs, in the unit of the weighted distance. Left out: as many pairs as the
   * limits allow, and of those the cheapest.
   */
  leftOverCost?: number
  /** Side of each part, where a pair must take one of each (NPN with PNP); else any two may pair. */
  sideOf?: ArrayLike<0 | 1>
}

export interface Pair { a: number; b: number; distance: number }

export interface PairResult {
  /** By distance, the closest first; a < b. */
  pairs: Pair[]
  leftOver: number[]
  /** Sum of the distances of the pairs; parts left over are not in it. */
  distance: number
  method: 'sorted line' | 'general matching'
  /**
   * The optimum cannot be better than this result by more than this: 0 on a line; else what rounding costs to
   * whole numbers can hide.
   */
  gapAtMost: number
  /** Times the search ran until no pair spoke against it; 1 or more. */
  rounds: number
}

/**
 * Finds the cheapest pairs. Asserts what `distanceTable` does, two parts or more, leftOverCost of 0 or more
 * and sides as many as parts. Some 2,000 parts in well under 5 s.
 */
export function matchPairs(request: PairRequest): PairResult {
  const { quantities, leftOverCost, sideOf } = request
  const table = distanceTable(quantities)
  assert(table.n >= 2, `pairs need two parts, got ${table.n}`)
  assert(leftOverCost === undefined || leftOverCost >= 0, 'leftOverCost must be 0 or more')
  assert(!sideOf || sideOf.length === table.n, 'sides and parts differ in number')
  if (table.line && !sideOf) return pairsOnLine(table, leftOverCost)
  return pairsInGeneral(sideOf ? twoSided(table, sideOf) : table, leftOverCost)
}

const twoSided = (table: DistanceTable, sideOf: ArrayLike<0 | 1>): DistanceTable => ({
  ...table, line: undefined,
  between: (i, j) => (sideOf[i] === sideOf[j] ? Infinity : table.between(i, j)),
})

function pairsOnLine(table: DistanceTable, leftOverCost: number | undefined): PairResult {
  const sets = blocksOnLine(table, 2, leftOverCost)
  return finished(table, sets.map(([a, b]) => [a!, b!]), { method: 'sorted line', gapAtMost: 0, rounds: 1 })
}

function pairsInGeneral(table: DistanceTable, leftOverCost: number | undefined): PairResult {
  const { pairs, ...how } = cheapest(table, leftOverCost)
  return finished(table, pairs, { method: 'general matching', ...how })
}

/**
 * A bound from below on the cost of any pairing, parts left over included: the cheapest, less what rounding
 * can hide. Without a cost of leaving over: of any pairing with as few left over as can be.
 */
export function leastMatching(table: DistanceTable, leftOverCost: number | undefined): number {
  const { pairs, gapAtMost } = cheapest(table, leftOverCost)
  const left = table.n - 2 * pairs.length
  const distance = pairs.reduce((total, [a, b]) => total + table.between(a, b), 0)
  return Math.max(0, distance + left * (leftOverCost ?? 0) - gapAtMost)
}

/** The cheapest pairs of a table, as many as its limits allow; each as two part numbers. */
export const cheapestPairs = (table: DistanceTable): [number, number][] => cheapest(table, undefined).pairs

interface Cheapest { pairs: [number, number][]; gapAtMost: number; rounds: number }

function cheapest(table: DistanceTable, leftOverCost: number | undefined): Cheapest {
  const prepared = prepare(table, 2 * (leftOverCost ?? Infinity))
  const found = leftOverCost === undefined
    ? asManyAsPossible(prepared) : proven(prepared, Math.round(2 * leftOverCost * prepared.scale))
  const pairs = [...found.mate].flatMap((b, a): [number, number][] => (b > a ? [[a, b]] : []))
  // each cost is off by half a step at most, in the pairs found and in those of the true optimum
  return { pairs, gapAtMost: table.n / prepared.scale, rounds: found.rounds }
}

const firstNeighbours = 10

/** Steps of a whole-number cost for the greatest distance: as many as keep duals below 2^52 and so exact. */
const stepsFor = (n: number): number => 2 ** (49 - Math.ceil(Math.log2(n + 1)))

/** A price of leaving one part over that no rearrangement of pairs outweighs. */
const fullPrice = (n: number): number => 2 * stepsFor(n) * (n + 1)

interface Prepared {
  n: number
  /** Steps to one unit of distance. */
  scale: number
  costOf(a: number, b: number): number
  /** The pairs the search may use; grows as pairs speak against a result. */
  edges: [number, number][]
}

function prepare(table: DistanceTable, most: number): Prepared {
  const greatest = greatestDistance(table, most)
  const scale = greatest > 0 ? stepsFor(table.n) / greatest : 1
  return {
    n: table.n, scale, edges: nearestNeighbours(table, firstNeighbours, most),
    costOf: (a, b) => 2 * Math.round(table.between(a, b) * scale),
  }
}

interface Found { mate: Int32Array; rounds: number }

const leftOf = ({ mate }: Found): number => mate.reduce((count, w) => (w < 0 ? count + 1 : count), 0)

/**
 * Raises the price of a part left over until no more are left over than must be. A low price that suffices
 * finds the same pairs with less work than one that outweighs every rearrangement.
 */
function asManyAsPossible(prepared: Prepared): Found {
  const { n, edges, costOf } = prepared
  const full = fullPrice(n)
  let price = edges.reduce((most, [a, b]) => Math.max(most, costOf(a, b)), 2)
  let found = proven(prepared, price)
  const fewest = leftOf(found) <= n % 2 ? leftOf(found) : fewestLeftOver(prepared)
  while (leftOf(found) > fewest && price < full) {
    price = Math.min(4 * price, full)
    const next = proven(prepared, price)
    found = { mate: next.mate, rounds: found.rounds + next.rounds }
  }
  return found
}

/**
 * The least number of parts that must stay over: a matching where pairs cost nothing and a part left over 1.
 */
function fewestLeftOver(prepared: Prepared): number {
  const costOf = (a: number, b: number): number => (prepared.costOf(a, b) < Infinity ? 0 : Infinity)
  return leftOf(proven({ ...prepared, costOf }, 1))
}

/** The cheapest matching at a price a part left over, proven over all pairs. */
function proven({ n, costOf, edges }: Prepared, price: number): Found {
  const leftOver = new Float64Array(n).fill(Math.min(price, fullPrice(n)))
  for (let rounds = 1; ; rounds++) {
    const { blossoms, y } = new MatchingSearch(sparseGraph(n, edges, costOf), leftOver).run()
    const result = { blossoms, y, leftOver, costOf }
    const against = pairsAgainst(result)
    if (against.length === 0) {
      const faults = slacknessFaults(result)
      assert(faults.length === 0, `a matching without proof: ${faults[0]}`)
      return { mate: blossoms.mate, rounds }
    }
    for (const pair of worst(against, y, costOf, n)) edges.push(pair)
  }
}

/** Of the pairs that speak against, those that do so most for either part. */
function worst(
  against: [number, number][], y: Float64Array, costOf: Prepared['costOf'], n: number,
): [number, number][] {
  const most = 8
  const by = Float64Array.from(against, ([a, b]) => costOf(a, b) - y[a]! - y[b]!)
  const sorted = against.map((_, i) => i).sort((i, j) => by[i]! - by[j]!)
  const count = new Uint32Array(n)
  return sorted.map(i => against[i]!).filter(([a, b]) => {
    if (count[a]! >= most && count[b]! >= most) return false
    count[a]!++
    count[b]!++
    return true
  })
}

/** The greatest distance any pair worth having can have: allowed, and no dearer than leaving both out. */
function greatestDistance(table: DistanceTable, most: number): number {
  let greatest = 0
  for (let a = 1; a < table.n; a++) {
    for (let b = 0; b < a; b++) {
      const distance = table.between(a, b)
      if (distance > greatest && distance <= most && distance < Infinity) greatest = distance
    }
  }
  return greatest
}

function finished(
  table: DistanceTable, found: [number, number][], how: Pick<PairResult, 'method' | 'gapAtMost' | 'rounds'>,
): PairResult {
  const pairs = found
    .map(([a, b]) => ({ a: Math.min(a, b), b: Math.max(a, b), distance: table.between(a, b) }))
    .sort((p, q) => p.distance - q.distance || p.a - q.a)
  const taken = new Set(pairs.flatMap(p => [p.a, p.b]))
  return {
    pairs, leftOver: Array.from({ length: table.n }, (_, i) => i).filter(i => !taken.has(i)),
    distance: pairs.reduce((total, p) => total + p.distance, 0), ...how,
  }
}
