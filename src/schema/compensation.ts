/**
 * What the jig itself adds to what is read between terminals 1 and 2, as it was found with the jig empty and
 * with a bare wire across them. One row a frequency; 0 Hz is that of the ohm-meter's two wires.
 */
import { z } from 'zod'

export const nullRow = z.strictObject({
  of: z.string().describe('Hash of jig and instruments: of others it says nothing'),
  frequencyHz: z.number().min(0),
  /** Read across the wire: ohms, and the standard uncertainty of either. */
  shortOhm: z.number(), shortReactanceOhm: z.number(), shortU: z.number().positive(),
  /** Read of the empty jig: siemens; null where the bridge does not reach so far. */
  openS: z.number().nullable(), openSusceptanceS: z.number().nullable(),
  openU: z.number().positive().nullable(),
})
export type NullRow = z.infer<typeof nullRow>

/** All rows of one compensation, and when it was made. */
export interface Nulls {
  readonly run: string
  readonly wallMs: number
  readonly rows: readonly NullRow[]
}

/** Most that each adds, either way where it has a sign. */
export interface ResidualExtent {
  readonly seriesOhm: number; readonly seriesH: number; readonly strayF: number; readonly leadsOhm: number
}
/** Of leads of a foot or two that nobody compensated (from memory). */
export const usualResiduals: ResidualExtent =
  { seriesOhm: 0.05, seriesH: 0.2e-6, strayF: 2e-12, leadsOhm: 0.5 }

/** The kind of the events that carry rows, and that of the one after them which says that all are there. */
export const nullEvent = 'compensation'
export const compensatedEvent = 'compensated'
/** Of the one that says how far the jig has come from them in a later session. */
export const driftEvent = 'compensation-check'

/** Which run found what the jig adds, and when. */
export const compensatedBy = z.strictObject({ run: z.string(), wallMs: z.number() })
export type CompensatedBy = z.infer<typeof compensatedBy>
