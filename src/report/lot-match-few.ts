/**
 * Fewer sets than the parts would give: the best so many, not the best of a division of all. Leaving parts
 * over is given a price; at the price where as many sets come out as are wanted, no other choice of so many
 * costs less. Pure.
 */

export interface FoundSets {
  readonly sets: { readonly parts: readonly number[]; readonly distance: number }[]
  readonly leftOver: readonly number[]
  readonly cost: number
  readonly costAtLeast: number
  readonly optimal: boolean
}

const steps = 16
/** What rounding may add to a cost. */
const hair = 1e-9

/**
 * `all`: the division of all `n` parts, of more sets than are wanted. `priced`: the cheapest division where
 * leaving over one part costs so much. What cannot be hit by a price, because sets cost the same, is cut off
 * behind the closest, and the bound tells.
 */
export function bestSets(
  all: FoundSets, wanted: number, n: number, priced: (leftOverCost: number) => FoundSets,
): FoundSets {
  const size = all.sets[0]!.parts.length
  let [low, high] = [0, Math.max(...all.sets.map(({ distance }) => distance)) * n + 1]
  let best = cut(all, wanted)
  let bound = 0
  for (let step = 0; step < steps; step++) {
    // Prices lie decades apart at first: halved as logarithms once there is a lower one.
    const price = low > 0 ? Math.sqrt(low * high) : high / 10 ** (step + 1)
    const found = priced(price)
    bound = Math.max(bound, found.costAtLeast - price * (n - size * wanted))
    if (found.sets.length >= wanted) {
      const those = cut(found, wanted)
      if (those.cost < best.cost) best = those
      high = price
    } else low = price
    if (found.sets.length === wanted) break
  }
  const least = Math.min(best.cost, bound)
  return { ...best, costAtLeast: least, optimal: best.cost - least <= hair * (1 + best.cost) }
}

/** The closest of them; the parts of the others are left over. */
function cut({ sets, leftOver }: FoundSets, wanted: number): FoundSets {
  const kept = [...sets].sort((a, b) => a.distance - b.distance)
  const spare = kept.splice(wanted)
  const cost = kept.reduce((sum, { distance }) => sum + distance, 0)
  const over = [...leftOver, ...spare.flatMap(({ parts }) => parts)].sort((a, b) => a - b)
  return { sets: kept, leftOver: over, cost, costAtLeast: 0, optimal: false }
}
