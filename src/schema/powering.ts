/** Runs of a whole unit: what is asked, what would be done, and how one stands. SI units. */
import { z } from 'zod'
import type { Refusal } from './application.ts'
import type { RunRecord } from './run.ts'
import { unitRequest } from './stand.ts'

export const unitSequences = ['first-power', 'burn-in', 'verify'] as const
export type UnitSequence = (typeof unitSequences)[number]

export const isUnitSequence = (sequence: string): sequence is UnitSequence =>
  (unitSequences as readonly string[]).includes(sequence)

export const poweringRequest = unitRequest.extend({
  sequence: z.enum(unitSequences),
  parameters: z.record(z.string(), z.unknown()).default({}).describe('Of the sequence'),
  use: z.enum(['attended', 'unattended']).default('attended'),
  person: z.string().min(1).max(100),
  cautionsConfirmed: z.boolean().default(false),
})
export type PoweringRequest = z.infer<typeof poweringRequest>

/** What would be done, computed without touching anything. */
export interface PoweringPlan {
  readonly sequence: UnitSequence
  readonly unit: string
  readonly specimen: string
  readonly use: PoweringRequest['use']
  readonly mainsV: number
  readonly currentMaxA: number
  readonly steps: readonly { readonly name: string; readonly seconds: number }[]
  readonly expectedS: number
  /** Channels that are read, by name. */
  readonly watched: readonly string[]
  /** What is measured for the claims of the unit, and what cannot be; empty where nothing is proven. */
  readonly measured: readonly string[]
  readonly left: readonly string[]
  readonly cautions: readonly string[]
  readonly refusals: readonly Refusal[]
  readonly warnings: readonly string[]
}

/** `waits`: why time does not count now; null while it does. */
export interface Counted {
  readonly countedS: number
  readonly askedS: number
  readonly waits: string | null
}

export interface PoweringStatus {
  readonly run: string
  readonly sequence: UnitSequence
  readonly unit: string
  readonly specimen: string
  readonly stage: string
  /** A step that waits for a person. */
  readonly hold: { readonly id: string; readonly text: string; readonly mainsOn: boolean } | null
  /** The way by which mains is on; null while it is off. */
  readonly way: string | null
  readonly startedWallMs: number
  readonly elapsedS: number
  readonly remainingS: number | null
  /** Time that counts, of a burn-in. */
  readonly counted: Counted | null
  readonly quantities: readonly {
    readonly name: string; readonly value: number | null; readonly u: number | null; readonly unit: string
  }[]
  readonly ending: { readonly as: string; readonly why: string; readonly wallMs: number } | null
}

/** A whole unit on the stand of this bench. */
export interface PoweringPort {
  /** What would be done; touches nothing. Rejects NOT_FOUND, REFUSED without a stand, USAGE. */
  plan(request: PoweringRequest): Promise<PoweringPlan>
  /**
   * Returns once the run is in the store; it goes on. Rejects REFUSED, TRIPPED, USAGE, IDENTITY, LINK_OPEN.
   */
  begin(request: PoweringRequest): Promise<RunRecord>
  /** Null while none goes on. */
  status(): PoweringStatus | null
  /** A person at the bench says to go on with the step that waits. Throws REFUSED, USAGE. */
  goOn(id: string, person: string): void
}
