/** Parameters of the forming sequences: ranges, defaults, and why each default is what it is. */
import { z } from 'zod'

const hours = (h: number): number => h * 3600

export const reformParameters = z.strictObject({
  targetV: z.number().min(1).max(5000).optional()
    .describe('Bus target; the lowest rated voltage on the rack when left out'),
  stepShare: z.number().min(0.02).max(0.25).default(0.1)
    .describe('Step as a share of target: 10 % (modelling choice, none is from a standard)'),
  fineStepShare: z.number().min(0.01).max(0.25).default(0.05)
    .describe('Step above 300 V: 5 % (modelling choice)'),
  slewVPerS: z.number().min(0.05).max(20).default(1)
    .describe('Rise of the bus; 1 V/s keeps the charging current of 100 µF at 0.1 mA '
      + '(common practice: slowly)'),
  minStepS: z.number().min(60).max(hours(4)).default(600)
    .describe('Shortest stay on a step (modelling choice)'),
  maxStepS: z.number().min(300).max(hours(24)).default(hours(2))
    .describe('Longest stay before a part that lags is dropped (modelling choice)'),
  stallAfterS: z.number().min(300).max(hours(24)).default(1800)
    .describe('A part that is over its limit and no longer improving after this is condemned: '
      + '30 min (modelling choice)'),
  settledShare: z.number().min(0.005).max(0.5).default(0.05)
    .describe('Settled: moves less than this share of the limit in 10 min (modelling choice)'),
  soakS: z.number().min(0).max(hours(72)).default(hours(4))
    .describe('At target: 4 h at least (maker re-ageing note, second hand)'),
  watchS: z.number().min(60).max(hours(2)).default(900)
    .describe('Bleeders open under watch: 15 min, after which absorption may have brought back '
      + '10 to 15 % (read, second hand)'),
  polarityV: z.number().min(1).max(5).default(5), polarityA: z.number().positive().max(1e-4).default(1e-4),
})
export type ReformParameters = z.infer<typeof reformParameters>

export const soakParameters = reformParameters.extend({
  soakS: z.number().min(0).max(hours(72)).default(600)
    .describe('Before the formal reading of a rested part: 10 min (modelling choice)'),
})

export const checkParameters =
  z.strictObject({ levelV: z.number().min(0.05).max(1).default(0.5).describe('Bridge level: 0.5 V (read)') })
export const dischargeParameters = z.strictObject({
  watchS: z.number().min(0).max(hours(2)).default(900).describe('Recovery watch after bleeding'),
})
