/** What a proof of figures may be told. */
import { z } from 'zod'

const measured = z.strictObject({
  ohm: z.number().positive(), u: z.number().positive().describe('Standard uncertainty, Ω'),
})

export const verifyParameters = z.strictObject({
  settleS: z.number().min(5).max(600).default(30)
    .describe('From mains on until rails are taken to stand'),
  warmS: z.number().min(0).max(7200).default(1200)
    .describe('From then until anything is driven (common practice: 10 to 30 min)'),
  dwellMaxS: z.number().min(2).max(600).default(30)
    .describe('Longest drive above an eighth of the most watts without a pause (common practice)'),
  loads: z.record(z.string(), measured).default({})
    .describe('Of each channel its rated load as it was measured, cold, where the digitizer looks'),
  leadOhm: z.number().min(0).max(10).default(0)
    .describe('Of the leads between an output and where the digitizer looks'),
  leadU: z.number().min(0).max(1).default(0.005).describe('Standard uncertainty of that, Ω'),
  spectra: z.boolean().default(true).describe('A spectrum of each channel at its rated watts too'),
})
export type VerifyParameters = z.infer<typeof verifyParameters>
