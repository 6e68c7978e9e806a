/** What a kind of run of a whole unit is: the same few things of each, so that whoever runs them is one. */
import type { z } from 'zod'
import type { Refusal } from '../schema/refusals.ts'
import type { PoweringRequest, UnitSequence } from '../schema/powering.ts'
import type { PartResult } from '../schema/run.ts'
import type { StandSpec } from '../schema/stand.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import type { MainsWay } from '../schema/unit-roles.ts'
import type { Places } from './places.ts'
import type { Power, PowerRoles } from './power.ts'

export interface PlanInput {
  readonly profile: UnitProfile
  readonly stand: StandSpec
  readonly places: Places
  readonly roles: PowerRoles
  readonly ways: readonly MainsWay[]
  readonly use: PoweringRequest['use']
}

export interface WorkPlan {
  readonly steps: readonly { readonly name: string; readonly seconds: number }[]
  readonly measured: readonly string[]
  /** What cannot be done, one sentence each. */
  readonly left: readonly string[]
  readonly refusals: readonly Refusal[]
  readonly warnings: readonly string[]
  /** Outputs are driven, and with how much of their rated power for long; 0: not at all. */
  readonly drivenShare: number
}

export interface UnitWork<P> {
  readonly name: UnitSequence
  readonly summary: string
  readonly cautions: readonly string[]
  readonly parameters: z.ZodType<P>
  /** Pure. */
  plan(input: PlanInput, parameters: P): WorkPlan
  /** From the unit armed and dead to what was found; mains may be on when it returns or rejects. */
  run(power: Power, sweep: () => Promise<void>, parameters: P): Promise<PartResult>
}
