/** First divisions of a lot into sets of one size, for exchanges to improve. */
import { distanceWithin, type DistanceTable } from './distance.ts'
import { Nearest } from './neighbours.ts'
import { cheapestPairs } from './pairs.ts'

/** Several divisions, each by another rule; every set in them keeps the limits. */
export function startingDivisions(table: DistanceTable, size: number): number[][][] {
  const spread = Float64Array.from({ length: table.n }, (_, i) => nearestSum(table, i, size - 1))
  const parts = Array.from({ length: table.n }, (_, i) => i)
  const orders = [
    [...parts].sort((a, b) => spread[b]! - spread[a]!), // the loneliest first
    [...parts].sort((a, b) => spread[a]! - spread[b]!), // the most crowded first
    fromOneEnd(table),
  ]
  const gatheredSets = orders.map(order => gathered(table, size, order))
  return size === 4 ? [...gatheredSets, pairsOfPairs(table)] : gatheredSets
}

/** Quads: the cheapest pairs, then the cheapest pairs of those. */
function pairsOfPairs(table: DistanceTable): number[][] {
  const pairs = cheapestPairs(table)
  const quad = (i: number, j: number): number => distanceWithin(table, [...pairs[i]!, ...pairs[j]!])
  const between = { n: pairs.length, between: quad, line: undefined }
  return pairs.length < 2 ? [] : cheapestPairs(between).map(([i, j]) => [...pairs[i]!, ...pairs[j]!])
}

/** Takes parts in order, each not yet taken with its nearest that may join the set so far. */
function gathered(table: DistanceTable, size: number, order: readonly number[]): number[][] {
  const free = new Set(order)
  const sets: number[][] = []
  for (const seed of order) {
    if (!free.has(seed)) continue
    const set = gather(table, size, seed, free)
    if (!set) continue
    sets.push(set)
    for (const part of set) free.delete(part)
  }
  return sets
}

function gather(
  table: DistanceTable, size: number, seed: number, free: ReadonlySet<number>,
): number[] | undefined {
  const added = new Map([...free].filter(p => p !== seed).map(p => [p, table.between(seed, p)]))
  const set = [seed]
  while (set.length < size) {
    let [next, least] = [-1, Infinity]
    for (const [p, cost] of added) if (cost < least) [next, least] = [p, cost]
    if (next < 0) return undefined
    set.push(next)
    added.delete(next)
    for (const [p, cost] of added) added.set(p, cost + table.between(next, p))
  }
  return set
}

function nearestSum(table: DistanceTable, part: number, count: number): number {
  const near = new Nearest(count)
  for (let p = 0; p < table.n; p++) if (p !== part) near.offer(p, table.between(part, p))
  return near.distances.reduce((total, d) => total + d, 0)
}

/** The order of distance from the part that is farthest from the first: one end of the cloud to the other. */
function fromOneEnd(table: DistanceTable): number[] {
  const parts = Array.from({ length: table.n }, (_, i) => i)
  const finite = (a: number, b: number): number => Math.min(table.between(a, b), Number.MAX_VALUE)
  const end = parts.reduce((far, p) => (finite(0, p) > finite(0, far) ? p : far), 0)
  return parts.sort((a, b) => finite(end, a) - finite(end, b))
}
