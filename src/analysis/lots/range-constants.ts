/**
 * Constants of control charts for normal data, from the distribution of the range of n values, integrated
 * here: no table is carried.
 */
import { assert } from '../../base/assert.ts'
import jStat from 'jstat'
import { normalCdf, normalDensity } from '../distributions.ts'

export interface RangeConstants {
  /** Mean and standard deviation of the range, in standard deviations of the values. */
  d2: number
  d3: number
  /** Mean of the sample standard deviation, in the same. */
  c4: number
  /** Limits of the mean at grand mean ± A2·(mean range), of the range at D3 and D4 times it. */
  a2: number
  D3: number
  D4: number
}

const known = new Map<number, RangeConstants>()

/** Constants for subgroups of n, 2 to 100. Errors below 1e-6. */
export function rangeConstants(n: number): RangeConstants {
  assert(Number.isInteger(n) && n >= 2 && n <= 100, `subgroups take 2 to 100 values, got ${n}`)
  const before = known.get(n)
  if (before) return before
  const [d2, square] = [rangeMoment(n, 1), rangeMoment(n, 2)]
  const d3 = Math.sqrt(square - d2 * d2)
  const c4 = Math.sqrt(2 / (n - 1)) * Math.exp(jStat.gammaln(n / 2) - jStat.gammaln((n - 1) / 2))
  const constants = {
    d2, d3, c4, a2: 3 / (d2 * Math.sqrt(n)), D3: Math.max(0, 1 - 3 * d3 / d2), D4: 1 + 3 * d3 / d2,
  }
  known.set(n, constants)
  return constants
}

/** d2* for the mean of g ranges of n: sqrt(d2² + d3²/g), as gauge studies use it. */
export function d2Star(n: number, g: number): number {
  const { d2, d3 } = rangeConstants(n)
  return Math.sqrt(d2 * d2 + d3 * d3 / g)
}

const step = 0.05
const half = 180
const phi = Float64Array.from({ length: 2 * half + 1 }, (_, i) => normalCdf((i - half) * step))
const density = Float64Array.from({ length: 2 * half + 1 }, (_, i) => normalDensity((i - half) * step))

/**
 * Mean of the k-th power of the range of n: over the range by Simpson's rule, over the least value by sums.
 */
function rangeMoment(n: number, k: number): number {
  let total = 0
  for (let r = 1; r < 2 * half; r++) {
    let chance = 0
    for (let i = 0; i + r <= 2 * half; i++) {
      chance += density[i]! * density[i + r]! * (phi[i + r]! - phi[i]!) ** (n - 2)
    }
    total += (r % 2 === 1 ? 4 : 2) * (r * step) ** k * chance
  }
  return total * step / 3 * n * (n - 1) * step
}
