/**
 * What a session takes beside the parts of its plan: reading what compensates the jig, and check standards.
 * Pure; seconds.
 */
import type { JigReach } from '../schema/jig.ts'
import type { Item } from './grade.ts'
import { nullFrequencies } from './nulls.ts'
import { planScreening, type PlanBounds, type ScreenPlan } from './plan.ts'
import type { ZeroName } from './session.ts'

export interface Asides {
  readonly zeros: readonly ZeroName[]
  readonly standards: readonly Item[]
  /** Standards come again after so many parts. */
  readonly standardsEvery: number
}

/** Readings at one frequency, or of two wires, and what is seen before them: as the simulated bench takes. */
const [readS, settleS] = [2.4, 1.5]

/** Nothing where no part is asked for: then there is no session. */
export function asidesS(
  { groups }: ScreenPlan, { zeros, standards, standardsEvery }: Asides, reach: JigReach, bounds: PlanBounds,
): number {
  const parts = groups.flatMap(({ items }) => items.map(({ part }) => part))
  if (parts.length === 0) return 0
  const frequencies = nullFrequencies(parts, reach).length
  const leads = reach.ohms?.wires.includes(2) ? 1 : 0
  const zeroS = zeros.map(what => what === 'empty jig' ? settleS + frequencies * readS
    : bounds.handlingS + settleS + (frequencies + leads) * readS)
  // At the start, after every so many parts, and at the end.
  const rounds = 1 + Math.ceil(parts.length / standardsEvery)
  return zeroS.reduce((sum, one) => sum + one, 0)
    + rounds * planScreening(standards, reach, bounds).expectedS
}
