/** Improves a division into sets, two neighbouring sets at a time, until none gains. */
import { distanceWithin, type DistanceTable } from './distance.ts'

/** A gain below this share of the cost is rounding. */
const hair = 1e-12
/** Sets up to this size are divided anew in every way with a neighbour; larger ones exchange single parts. */
const anewAtMost = 4

/**
 * Divides neighbouring sets anew between them, and exchanges parts with those left over, as long as the cost
 * falls; then, where leaving over has a price, gives up sets that cost more than it. Sets keep the limits.
 * `near`: for each part those near it, whose sets are its set's neighbours. The division given is not
 * changed.
 */
export function improve(
  table: DistanceTable, sets: readonly (readonly number[])[], near: readonly (readonly number[])[],
  leftOverCost: number | undefined,
): number[][] {
  const groups = sets.map(set => [...set])
  const setOf = new Int32Array(table.n).fill(-1)
  const note = (g: number): void => { for (const p of groups[g]!) setOf[p] = g }
  groups.forEach((_, g) => note(g))
  const waiting = new Set(groups.keys())
  for (const g of waiting) {
    waiting.delete(g)
    const around = new Set(groups[g]!.flatMap(p => near[p]!.filter(q => setOf[q] !== g)))
    for (const q of around) {
      const h = setOf[q]!
      if (h < 0 ? takeIn(table, groups[g]!, q, setOf) : h !== g && divide(table, groups[g]!, groups[h]!)) {
        for (const changed of h < 0 ? [g] : [g, h]) { note(changed); waiting.add(changed) }
      }
    }
  }
  if (leftOverCost === undefined) return groups
  return groups.filter(set => distanceWithin(table, set) <= leftOverCost * set.length)
}

/** What `part` would cost in the set in the place of its member at `place`. */
function joining(table: DistanceTable, set: readonly number[], place: number, part: number): number {
  let total = 0
  for (let i = 0; i < set.length; i++) if (i !== place) total += table.between(set[i]!, part)
  return total
}

/** Puts a part that is left over in the place of a member, if that gains. */
function takeIn(table: DistanceTable, set: number[], part: number, setOf: Int32Array): boolean {
  for (let i = 0; i < set.length; i++) {
    const now = joining(table, set, i, set[i]!)
    if (!(joining(table, set, i, part) < now - hair * now)) continue
    setOf[set[i]!] = -1
    set[i] = part
    return true
  }
  return false
}

const divide = (table: DistanceTable, one: number[], other: number[]): boolean =>
  (one.length <= anewAtMost ? divideAnew : exchange)(table, one, other)

/** The cheapest division of two sets' parts into two sets, if it gains. */
function divideAnew(table: DistanceTable, one: number[], other: number[]): boolean {
  const parts = [...one, ...other]
  const apart = distancesAmong(table, parts)
  const ways = halves(one.length)
  const within = (places: readonly number[]): number => {
    let total = 0
    for (let i = 1; i < places.length; i++) {
      for (let j = 0; j < i; j++) total += apart[places[i]! * parts.length + places[j]!]!
    }
    return total
  }
  // The first way is the division that stands.
  const now = within(ways[0]!.taken) + within(ways[0]!.rest)
  let [best, least] = [undefined as Half | undefined, now - hair * now]
  for (const way of ways) {
    const first = within(way.taken)
    if (first >= least) continue
    const cost = first + within(way.rest)
    if (cost < least) [best, least] = [way, cost]
  }
  if (!best) return false
  one.splice(0, one.length, ...best.taken.map(i => parts[i]!))
  other.splice(0, other.length, ...best.rest.map(i => parts[i]!))
  return true
}

/** Entry a·n+b: the distance of places a and b. */
function distancesAmong(table: DistanceTable, parts: readonly number[]): Float64Array {
  const n = parts.length
  const apart = new Float64Array(n * n)
  for (let a = 1; a < n; a++) {
    for (let b = 0; b < a; b++) {
      const distance = table.between(parts[a]!, parts[b]!)
      apart[a * n + b] = distance
      apart[b * n + a] = distance
    }
  }
  return apart
}

interface Half { readonly taken: readonly number[]; readonly rest: readonly number[] }
const known = new Map<number, Half[]>()

/** Every way to take half of 2·size places, the first place always taken: divisions, each once. */
function halves(size: number): Half[] {
  const before = known.get(size)
  if (before) return before
  const grow = (taken: number[]): number[][] => {
    if (taken.length === size) return [taken]
    const from = taken.at(-1)! + 1
    return Array.from({ length: 2 * size - from }, (_, i) => grow([...taken, from + i])).flat()
  }
  const ways = grow([0]).map(taken => ({
    taken, rest: Array.from({ length: 2 * size }, (_, i) => i).filter(i => !taken.includes(i)),
  }))
  known.set(size, ways)
  return ways
}

/** Exchanges one part each between two sets, if any exchange gains. */
function exchange(table: DistanceTable, one: number[], other: number[]): boolean {
  for (let i = 0; i < one.length; i++) {
    for (let j = 0; j < other.length; j++) {
      const now = joining(table, one, i, one[i]!) + joining(table, other, j, other[j]!)
      const then = joining(table, one, i, other[j]!) + joining(table, other, j, one[i]!)
      if (!(then < now - hair * now)) continue
      ;[one[i], other[j]] = [other[j]!, one[i]!]
      return true
    }
  }
  return false
}
