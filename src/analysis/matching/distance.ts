/**
 * How far apart two parts are: the root of the sum of squares of their weighted differences, over one or
 * several quantities, with hard limits. Common practice for matching; the weights are the owner's.
 */
import { assert } from '../../base/assert.ts'
import { allPositive, assertNumbers, assertSameLength } from '../inputs.ts'

export interface MatchQuantity {
  name: string
  /** One value a part, in the order of the parts, all in one unit. */
  values: ArrayLike<number>
  /**
   * Cost, 0 or more, of a difference of one unit; for `ratio`, of one in the natural logarithm of the ratio.
   */
  weight: number
  /**
   * Largest difference two parts of one set may have, in the unit of the values; for `ratio`, the largest
   * share by which the greater exceeds the lesser (0.05 is 5 %). None when left out.
   */
  limit?: number
  /** `ratio` compares logarithms (values above 0 needed); `linear`, the default, differences. */
  scale?: 'linear' | 'ratio'
}

/** Distances between parts, as a matching needs them. */
export interface DistanceTable {
  n: number
  /** Weighted distance of parts i and j, or Infinity when a hard limit forbids them to share a set. */
  between(i: number, j: number): number
  /** The weighted co-ordinate that decides when there is only one quantity, else undefined. */
  line: Float64Array | undefined
}

/** Limits are compared with room for rounding: a difference that equals the limit on paper is allowed. */
const hair = 1e-12

/**
 * Prepares distances. Asserts at least one quantity, equally long finite arrays, weights of 0 or more with
 * one above 0, limits of 0 or more, and values above 0 where ratios are asked.
 */
export function distanceTable(quantities: readonly MatchQuantity[]): DistanceTable {
  assert(quantities.length > 0, 'matching needs a quantity')
  assert(quantities.some(q => q.weight > 0), 'matching needs a quantity with a weight above 0')
  const first = quantities[0]!.values
  const [n, m] = [first.length, quantities.length]
  const at = new Float64Array(n * m)
  quantities.forEach((q, k) => {
    check(q)
    assertSameLength(q.values, first, `${q.name} and ${quantities[0]!.name}`)
    const scaled = q.scale === 'ratio' ? Math.log : (v: number): number => v
    for (let i = 0; i < n; i++) at[i * m + k] = scaled(q.values[i]!)
  })
  const weights = Float64Array.from(quantities, q => q.weight)
  const limits = Float64Array.from(quantities, (q, k) => limitOf(q, at, k, m))
  const between = (i: number, j: number): number => {
    let total = 0
    for (let k = 0, a = i * m, b = j * m; k < m; k++, a++, b++) {
      const difference = Math.abs(at[a]! - at[b]!)
      if (difference > limits[k]!) return Infinity
      const part = weights[k]! * difference
      total += part * part
    }
    return Math.sqrt(total)
  }
  return { n, between, line: m === 1 ? at.map(v => v * weights[0]!) : undefined }
}

/** Sum of the distances of all pairs of a set; Infinity when a limit forbids it. */
export function distanceWithin(table: DistanceTable, parts: readonly number[]): number {
  let total = 0
  for (let i = 1; i < parts.length; i++) {
    for (let j = 0; j < i; j++) total += table.between(parts[i]!, parts[j]!)
  }
  return total
}

function limitOf(q: MatchQuantity, at: Float64Array, k: number, m: number): number {
  if (q.limit === undefined) return Infinity
  let most = 0
  for (let i = k; i < at.length; i += m) most = Math.max(most, Math.abs(at[i]!))
  return (q.scale === 'ratio' ? Math.log1p(q.limit) : q.limit) + hair * most
}

function check(q: MatchQuantity): void {
  assertNumbers(q.values, q.name)
  assert(q.weight >= 0 && Number.isFinite(q.weight), `weight of ${q.name} must be a finite number, 0 or more`)
  assert(q.limit === undefined || q.limit >= 0, `limit of ${q.name} must be 0 or more`)
  if (q.scale !== 'ratio') return
  assert(allPositive(q.values), `${q.name} needs values above 0 for ratios`)
}
