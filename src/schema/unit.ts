/** Where the parts of one unit stand on record, by designator. */
import { z } from 'zod'
import type { PartResult } from './run.ts'
import { serviceTemperatureC, type InService } from './service.ts'

/** A name on record: of a unit, or of a check standard. */
export const unitName = z
  .string()
  .regex(/^[A-Za-z0-9][A-Za-z0-9._-]{0,40}$/, 'letters, digits, dot, hyphen, underscore')

/** The name under which the record keeps a part of a unit, like `pavilion-C14`. */
export const partName = (unit: string, designator: string): string =>
  `${unit}-${designator}`.replace(/[^A-Za-z0-9._-]+/g, '-')

export const unitRequest = z.strictObject({
  unit: unitName,
  designators: z.array(z.string().min(1).max(64)).min(1).max(20_000),
  insideC: serviceTemperatureC.optional()
    .describe('How warm parts get inside, for estimates of life where the rack list did not say'),
})
export type UnitRequest = z.infer<typeof unitRequest>

/** The newest word on one part, from whatever run has it. */
export interface Newest {
  readonly run: string
  readonly sequence: string
  readonly startedWallMs: number
  readonly person: string
  readonly result: PartResult
  /** The volts at which this showed; null where volts are none of its matter, as of a resistor. */
  readonly volts: number | null
  /** Of the part profile; null where it was measured without one. */
  readonly ratedV: number | null
}

export interface UnitParts {
  readonly unit: string
  readonly parts: readonly {
    readonly designator: string
    readonly newest: Newest | null
    /** An older word at more volts, which a newest good one does not undo; null where the newest decides. */
    readonly stands: Newest | null
    /** From the newest of the runs looked through whose profile asks for it. */
    readonly inService: InService | null
  }[]
  /** Runs that were looked through; `wasAll`: there are no older ones. */
  readonly runs: number
  readonly wasAll: boolean
}

/** A part that is to be formed, as its list has it. SI units. */
export const toForm = z.strictObject({
  designator: z.string().min(1).max(64),
  ratedV: z.number().positive().nullable(),
  capacitanceF: z.number().positive().nullable(),
})
export type ToForm = z.infer<typeof toForm>
export const rackRequest = z.strictObject({ unit: unitName, parts: z.array(toForm).min(1).max(1000) })
export type RackRequest = z.infer<typeof rackRequest>

/** A rack for one night, and what it leaves for another. */
export interface ProposedRack {
  readonly ratedV: number | null
  readonly parts: readonly {
    readonly position: string; readonly part: string; readonly profile: string
    readonly ratedV: number; readonly capacitanceF: number
  }[]
  readonly left: readonly { readonly designator: string; readonly why: string }[]
}

/** What a list says of a designator, and a policy where there is one. */
export const unitLine = z.strictObject({
  designator: z.string().min(1).max(64), what: z.string().max(200), ratedV: z.number().positive().nullable(),
  wanted: z.strictObject({
    action: z.enum(['prove', 'replace', 'replace-and-prove-new', 'leave']).nullable(),
    reason: z.string().max(1000),
  }),
})

export const unitRecordRequest = z.strictObject({
  specimen: unitName.describe('This one unit, by its name on record'),
  lines: z.array(unitLine).max(20_000).default([])
    .describe('Its parts list; the parts that stages of its profile name when left out'),
  policy: z.string().max(100).nullable().default(null),
  format: z.enum(['html', 'json']).default('html'),
  verify: z.boolean().default(false).describe('Recompute the chains of hashes'),
})
export type UnitRecordRequest = z.infer<typeof unitRecordRequest>

export const earlyFailuresRequest = z.strictObject({
  unit: z.string().min(1).max(64).describe('Name of the unit profile'),
})

const h = z.number()
/** What the hours of burn-in of all units of one profile show of failures. */
export const earlyFailuresAnswer = z.strictObject({
  unit: z.string(),
  specimens: z.array(z.strictObject({
    specimen: z.string(), run: z.string(), hours: h, failed: z.boolean(), why: z.string(),
  })),
  /** Null where no unit of it has burnt in. */
  shown: z.strictObject({
    units: z.number().int(), failures: z.number().int(), hours: h,
    rateMostPerH: h, betweenLeastH: h.describe('At a constant rate, with 95 % confidence'),
    weibull: z.strictObject({ shape: h, shapeLow: h, shapeHigh: h, scaleH: h }).nullable(),
    says: z.string(),
  }).nullable(),
})
export type EarlyFailuresAnswer = z.infer<typeof earlyFailuresAnswer>
