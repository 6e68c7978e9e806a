/** Histogram of a lot. */
import { assertNumbers } from '../inputs.ts'

export interface Bin {
  /**
   * Bounds in the unit of the values; a value equal to the lower bound is inside, the upper is the next
   * bin's.
   */
  lower: number
  upper: number
  count: number
}

const mostBins = 60

/**
 * Bins of one width, a 1, 2 or 5 times a power of ten, from the smallest value to the greatest. The width is
 * near 2·(interquartile range)/n^(1/3) (the Freedman-Diaconis rule, common practice), wider where that would
 * give more than 60 bins. Asserts finite values, one at least. A lot of one value gives one bin of width 0.
 */
export function histogram(values: ArrayLike<number>): Bin[] {
  assertNumbers(values, 'values')
  const sorted = Float64Array.from(values).sort()
  const [low, high] = [sorted[0]!, sorted.at(-1)!]
  if (low === high) return [{ lower: low, upper: high, count: sorted.length }]
  const spread = 2 * (quantile(sorted, 0.75) - quantile(sorted, 0.25)) / Math.cbrt(sorted.length)
  const width = roundWidth(Math.max(spread, (high - low) / (mostBins - 1)))
  const first = Math.floor(low / width)
  const counts = new Array<number>(Math.max(1, Math.floor(high / width) - first + 1)).fill(0)
  for (const value of sorted) counts[Math.floor(value / width) - first]!++
  return counts.map((count, i) => ({ lower: (first + i) * width, upper: (first + i + 1) * width, count }))
}

/** The least 1, 2 or 5 times a power of ten that is not below `width`. */
function roundWidth(width: number): number {
  const decade = 10 ** Math.floor(Math.log10(width))
  return decade * ([1, 2, 5].find(step => step * decade >= width) ?? 10)
}

/** Quantile of sorted values by linear interpolation between order statistics. */
export function quantile(sorted: ArrayLike<number>, share: number): number {
  const at = share * (sorted.length - 1)
  const below = Math.floor(at)
  const [a, b] = [sorted[below]!, sorted[Math.min(below + 1, sorted.length - 1)]!]
  return a + (at - below) * (b - a)
}
