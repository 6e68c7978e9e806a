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

/** The kind of the events that carry rows. */
export const nullEvent = 'compensation'
