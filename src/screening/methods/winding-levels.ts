/**
 * With how many volts the bridge may work on one winding, so that no other one stands at more than a hand may
 * touch: a transformer steps up whatever it is given. Pure; V, turns as they are listed.
 */
import type { JigReach } from '../../schema/jig.ts'
import type { Transformer } from '../to-prove.ts'

/** Most that any winding stands at while the bridge measures another. */
export const inducedMostV = 20
export const usualLevelV = 1
/**
 * Of windings in line that oppose each other so little flux is left that a volt across both may be so many
 * on either: one over twice the root of the stray share, of close windings 1e-4 (the share from memory).
 */
const opposingMost = 50
/** Turns are as listed within so much. */
const turnsWithin = 0.05

/** Turns of the largest winding over those of the smallest part of one. */
export function stepUpOf({ ratio, wound }: Transformer): number {
  if (!wound) return ratio.nominal
  const wholes = wound.windings.map(parts => parts.reduce((sum, turns) => sum + turns, 0))
  return Math.max(...wholes) / Math.min(...wound.windings.flat())
}

export interface BridgeLevels {
  /** On any one winding. */
  readonly eachV: number
  /** On two in line; null where the bridge cannot go so low. */
  readonly inLineV: number | null
}

/**
 * `ratio` of the two windings that are measured, 1 or more. Null where even the least level of the bridge
 * would be too much.
 */
export function levelsOf(part: Transformer, ratio: number, { bridge }: JigReach): BridgeLevels | null {
  const { minV } = bridge!.levelsV ?? { minV: usualLevelV }
  const stepUp = stepUpOf(part)
  const eachV = Math.min(usualLevelV, inducedMostV / stepUp)
  if (eachV < minV) return null
  // The larger of the two has at least as many turns as the smallest part that is listed times their ratio.
  const above = Math.max(1, stepUp / ratio)
  const left = Math.max(1 / opposingMost, 1 - 1 / ratio - turnsWithin)
  const inLineV = Math.min(usualLevelV, inducedMostV * left / above)
  return { eachV, inLineV: inLineV < minV ? null : inLineV }
}
