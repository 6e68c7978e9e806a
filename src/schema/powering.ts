/** Runs of a whole unit: what is asked, what would be done, and how one stands. SI units. */
import { z } from 'zod'
import { refusal } from './refusals.ts'
import type { RunRecord } from './run.ts'
import { unitRequest } from './stand.ts'

export const unitSequences = ['first-power', 'burn-in', 'verify'] as const
export type UnitSequence = (typeof unitSequences)[number]

export const isUnitSequence = (sequence: string): sequence is UnitSequence =>
  (unitSequences as readonly string[]).includes(sequence)

const use = z.enum(['attended', 'unattended'])

export const poweringRequest = unitRequest.extend({
  sequence: z.enum(unitSequences),
  parameters: z.record(z.string(), z.unknown()).default({}).describe('Of the sequence'),
  continues: z.string().min(1).max(100).optional()
    .describe('A burn-in of this unit that did not get to its end: this one goes on where its time stands'),
  use: use.default('attended'),
  person: z.string().min(1).max(100),
  cautionsConfirmed: z.boolean().default(false),
})
export type PoweringRequest = z.infer<typeof poweringRequest>

const texts = z.array(z.string())

/** What would be done, computed without touching anything. */
export const poweringPlan = z.strictObject({
  sequence: z.enum(unitSequences), unit: z.string(), specimen: z.string(), use,
  mainsV: z.number(), currentMaxA: z.number().describe('More trips'),
  steps: z.array(z.strictObject({ name: z.string(), seconds: z.number() })), expectedS: z.number(),
  watched: texts.describe('Channels that are read'),
  measured: texts.describe('What is measured for the claims of the unit'),
  left: texts.describe('What cannot be measured, one sentence each'),
  cautions: texts, refusals: z.array(refusal), warnings: texts,
})
export type PoweringPlan = z.infer<typeof poweringPlan>

/** Of a burn-in. `waits`: why time does not count now; null while it does. */
export const counted = z.strictObject({
  countedS: z.number(), askedS: z.number(), waits: z.string().nullable(),
})
export type Counted = z.infer<typeof counted>

export const poweringStatus = z.strictObject({
  run: z.string(), sequence: z.enum(unitSequences), unit: z.string(), specimen: z.string(),
  stage: z.string(),
  hold: z.strictObject({ id: z.string(), text: z.string(), mainsOn: z.boolean() }).nullable()
    .describe('A step that waits for a person'),
  way: z.string().nullable().describe('The way by which mains is on; null while it is to be off'),
  startedWallMs: z.number(), elapsedS: z.number(), remainingS: z.number().nullable(),
  counted: counted.nullable(),
  quantities: z.array(z.strictObject({
    name: z.string(), value: z.number().nullable(), u: z.number().nullable(), unit: z.string(),
  })),
  ending: z.strictObject({ as: z.string(), why: z.string(), wallMs: z.number() }).nullable(),
})
export type PoweringStatus = z.infer<typeof poweringStatus>

export const goOnAsked = z.strictObject({
  id: z.string().min(1).max(100).describe('The step that waits'),
  person: z.string().min(1).max(100).describe('Who is at the bench and says so'),
})

/** A whole unit on the stand of this bench. */
export interface PoweringPort {
  /** What would be done; touches nothing. Rejects FILE_UNREADABLE, FILE_INVALID, REFUSED, USAGE. */
  plan(request: PoweringRequest): Promise<PoweringPlan>
  /**
   * Returns once the run is in the store; it goes on. Rejects REFUSED, TRIPPED, USAGE, IDENTITY, LINK_OPEN.
   */
  begin(request: PoweringRequest): Promise<RunRecord>
  /** Null while none goes on. */
  status(): PoweringStatus | null
  /** A person at the bench says to go on with the step that waits. Rejects REFUSED, USAGE. */
  goOn(id: string, person: string): Promise<void>
}
