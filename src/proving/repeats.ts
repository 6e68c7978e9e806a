/** Several captures of one quantity: their mean, and whether they scatter more than noise explains. */
import { chi2Quantile } from '../analysis/distributions.ts'
import { mean, uOfMean } from '../analysis/statistics.ts'
import type { Known } from './port.ts'

export interface Repeated extends Known {
  readonly count: number
  /** Of the uncertainty: what noise leaves is known well, scatter of a few captures is not. */
  readonly dof: number
  readonly scatters: boolean
}

/** Scatter that chance alone makes less often than this is the unit's, or the bench's, own. */
const chanceLeast = 0.005

/** Equal weights: every capture is as long as the next. */
export function meanOf(parts: readonly Known[]): Repeated {
  const count = parts.length
  const value = mean(parts.map(part => part.value))
  const u = Math.hypot(...parts.map(part => part.u)) / count
  const plain = { value, u, count, dof: Infinity, scatters: false }
  if (count < 3 || u === 0) return plain
  const squares = parts.reduce((sum, part) => sum + ((part.value - value) / part.u) ** 2, 0)
  if (!(squares > chi2Quantile(1 - chanceLeast, count - 1))) return plain
  return { ...plain, u: Math.max(u, uOfMean(parts.map(part => part.value))), dof: count - 1, scatters: true }
}
