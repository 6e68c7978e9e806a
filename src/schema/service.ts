/** What may be said of a part at the temperature and volts of the unit it lives in. An estimate: no grade. */
import { z } from 'zod'

export const serviceTemperatureC = z.number().min(-55).max(200)

export const inService = z.strictObject({
  temperatureC: z.number(),
  volts: z.number(),
  voltsFrom: z.enum(['rack list', 'rating']),
  temperatureFrom: z.enum(['rack list', 'unit']),
  /** Hours of a new part; null where no rule holds, or its profile says none. */
  life: z.strictObject({ hours: z.number(), lowH: z.number(), highH: z.number() }).nullable(),
  /** Volts to which it is rated at this temperature. */
  deratedV: z.number(),
  cautions: z.array(z.string()),
  /** What these figures are made of, each with its source. */
  madeOf: z.array(z.string()),
})
export type InService = z.infer<typeof inService>
