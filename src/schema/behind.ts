/**
 * What was under volts behind the cover of a jig, as the record keeps it until it was shown to be empty: by
 * what the bridge saw of it before, it is known again. SI units.
 */
import { z } from 'zod'

export const behind = z.strictObject({
  part: z.string().describe('As it is told'),
  volts: z.number(),
  forMs: z.number().min(0).describe('How long it stands under volts, at most'),
  frequencyHz: z.number().nullable(), levelV: z.number().nullable(),
  xOhm: z.number().nullable().describe('Reactance that the bridge saw; null: it is not known'),
  xU: z.number().nullable(),
})
export type Behind = z.infer<typeof behind>
/** The same without its name. */
export type Held = Omit<Behind, 'part'>

/** Of what nothing more is known: such a part is never known again. */
export const unknownBehind = (part: string, volts: number): Behind =>
  ({ part, volts, forMs: 0, frequencyHz: null, levelV: null, xOhm: null, xU: null })

/** Under these kinds a session says that a part is about to be charged, and that it was shown to be empty. */
export const chargedEvent = 'charged'
export const emptiedEvent = 'emptied'
/** In the data of a trip: a person was told that what lies behind the cover was not shown to be empty. */
export const unmeasuredMark = 'unmeasured'

/** What a person reads of it. */
export const unmeasuredWords = ({ part, volts }: Behind): string =>
  `NOT SAFE TO TOUCH: UNMEASURED: ${part} was under ${Math.round(volts)} V behind the cover, and was not `
    + 'shown to be empty; what lies out of its clips no bleeder empties, nor does one that is off. The cover '
    + 'stays locked. Switch the source off at its mains switch, open the cover by its key, hold a discharge '
    + 'stick to every part behind it, measure each with a meter that you trust; then acknowledge with what '
    + 'you found'
