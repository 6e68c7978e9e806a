/** Sets from a sorted line of values. */
import { distanceWithin, type DistanceTable } from './distance.ts'

/**
 * Sets of `size` parts that follow one another on the line, the rest left over, at the least total cost: the
 * sum of the distances within each set plus `leftOverCost` a part (left out: as many sets as the limits
 * allow). With one quantity no other division is cheaper: two sets of one size that overlap cost no less than
 * the lower and the upper half of their union, at every gap between neighbours at once, and keep no limit
 * that these break; and a part between the ends of a set costs no more in it than the end it would replace.
 * O(n·size²).
 *
 * Asserts nothing; `table.line` must be there and `size` be 2 or more.
 */
export function blocksOnLine(table: DistanceTable, size: number, leftOverCost = Infinity): number[][] {
  const line = table.line!
  const order = Array.from({ length: table.n }, (_, i) => i).sort((a, b) => line[a]! - line[b]!)
  const best: Price[] = [{ left: 0, cost: 0 }]
  const takes: boolean[] = [false]
  for (let i = 1; i <= order.length; i++) {
    const skip = { left: best[i - 1]!.left + 1, cost: best[i - 1]!.cost }
    const block = i >= size ? distanceWithin(table, order.slice(i - size, i)) : Infinity
    const take = block < Infinity && { left: best[i - size]!.left, cost: best[i - size]!.cost + block }
    takes[i] = take !== false && !cheaper(skip, take, leftOverCost)
    best[i] = takes[i] ? take as Price : skip
  }
  const sets: number[][] = []
  for (let i = order.length; i > 0; i -= takes[i] ? size : 1) {
    if (takes[i]) sets.push(order.slice(i - size, i))
  }
  return sets
}

interface Price { left: number; cost: number }

function cheaper(a: Price, b: Price, leftOverCost: number): boolean {
  if (leftOverCost < Infinity) return a.cost + a.left * leftOverCost < b.cost + b.left * leftOverCost
  return a.left < b.left || (a.left === b.left && a.cost < b.cost)
}
