/** What no division of a lot into sets can undercut. */
import type { DistanceTable } from './distance.ts'
import { Nearest } from './neighbours.ts'
import { leastMatching } from './pairs.ts'

export interface BoundRequest {
  table: DistanceTable
  size: number
  /** Cost of a part left over; or else the number of sets, parts left over then costing nothing. */
  leftOverCost?: number | undefined
  sets?: number | undefined
  /** Cost of a division that was found: aims the search for a bound. */
  found: number
  /** Pairs of near parts: the bound is sought on them, and then reckoned over all pairs. */
  near: readonly (readonly [a: number, b: number])[]
}

/**
 * A bound from below on the cost of any division into sets of `size`. The greatest of three:
 * - each part is joined to size-1 others, so its share is at least half the sum of its size-1 nearest.
 * - it is joined to each of them at most once. Prices λ of the parts turn that into a
 *   bound: (size-1)·Σλ less what all pairs are worth above their distance. Any prices give a true bound; good
 *   ones are sought by subgradient steps.
 * - for an even size all pairs within sets fall into size-1 pairings of the same parts (a round robin), and
 *   none is cheaper than the cheapest pairing. It stands only where nothing is left over, or where that has a
 *   price.
 */
export function boundOfSets(request: BoundRequest): number {
  const even = request.size % 2 === 0
  return Math.max(0, nearestBound(request), priceBound(request), even ? roundRobin(request) : 0)
}

function nearestBound({ table, size, leftOverCost = Infinity, sets }: BoundRequest): number {
  const shares = Float64Array.from({ length: table.n }, (_, i) => {
    const near = new Nearest(size - 1)
    for (let p = 0; p < table.n; p++) {
      const distance = p === i ? Infinity : table.between(i, p)
      if (distance < Infinity) near.offer(p, distance)
    }
    const share = near.distances.reduce((total, d) => total + d, 0) / 2
    return near.parts.length < size - 1 ? leftOverCost : Math.min(share, leftOverCost)
  })
  // without a price of leaving over the dearest parts are the ones left over
  const counted = sets === undefined ? shares : shares.sort().slice(0, sets * size)
  return counted.reduce((total, share) => total + share, 0)
}

/** (size-1) times the cheapest pairing, a part left over costing its share of leaving it over. */
function roundRobin({ table, size, leftOverCost, sets }: BoundRequest): number {
  if (leftOverCost !== undefined) return (size - 1) * leastMatching(table, leftOverCost / (size - 1))
  return sets! * size === table.n ? (size - 1) * leastMatching(table, undefined) : 0
}

const steps = 450
/** Prices are reckoned over all pairs after so many steps. */
const reckonEach = 30

function priceBound(request: BoundRequest): number {
  const { table, size, near, found } = request
  const distances = Float64Array.from(near, ([a, b]) => table.between(a, b))
  const prices = startPrices(request, distances)
  let [best, stride] = [0, 1]
  for (let step = 1; step <= steps; step++) {
    const excess = new Float64Array(table.n).fill(size - 1)
    let worth = 0
    near.forEach(([a, b], e) => {
      const above = prices[a]! + prices[b]! - distances[e]!
      if (above <= 0) return
      worth += above
      excess[a]!--
      excess[b]!--
    })
    keptOnly(request, prices, excess)
    const square = excess.reduce((total, g) => total + g * g, 0)
    if (square === 0) break
    const move = stride * Math.max(0, found - (income(request, prices) - worth)) / square
    prices.forEach((price, i) => { prices[i] = Math.max(0, price + move * excess[i]!) })
    stride *= 0.985
    if (step % reckonEach === 0) best = Math.max(best, income(request, prices) - worthOfAll(table, prices))
  }
  return best
}

/** Half the distance of each part's (size-1)th neighbour. */
function startPrices({ table, size, near }: BoundRequest, distances: Float64Array): Float64Array {
  const around: number[][] = Array.from({ length: table.n }, () => [])
  near.forEach(([a, b], e) => { around[a]!.push(distances[e]!); around[b]!.push(distances[e]!) })
  return Float64Array.from(around, list => (list.sort((a, b) => a - b)[size - 2] ?? 0) / 2)
}

/** What the parts pay: each (size-1) times its price, or what leaving it over costs, if that is less. */
function income({ size, leftOverCost, sets }: BoundRequest, prices: Float64Array): number {
  if (leftOverCost !== undefined) {
    return prices.reduce((total, price) => total + Math.min((size - 1) * price, leftOverCost), 0)
  }
  return prices.slice().sort().slice(0, sets! * size).reduce((total, price) => total + (size - 1) * price, 0)
}

/** Parts that pay by being left over do not ask for neighbours. */
function keptOnly(
  { size, leftOverCost, sets }: BoundRequest, prices: Float64Array, excess: Float64Array,
): void {
  const most = leftOverCost !== undefined
    ? leftOverCost / (size - 1) : prices.slice().sort()[sets! * size - 1]!
  prices.forEach((price, i) => { if (price > most) excess[i]! -= size - 1 })
}

function worthOfAll(table: DistanceTable, prices: Float64Array): number {
  let worth = 0
  for (let a = 1; a < table.n; a++) {
    for (let b = 0; b < a; b++) {
      const above = prices[a]! + prices[b]!
      if (above > 0) worth += Math.max(0, above - table.between(a, b))
    }
  }
  return worth
}
