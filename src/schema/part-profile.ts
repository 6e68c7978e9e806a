/** Ratings and criteria of a type of part. This issue of the format covers polar aluminium electrolytics. */
import { z } from 'zod'

const positive = z.number().positive()

export const leakageFamilies = [
  'general', 'long-life', 'low-leakage', 'high-voltage', 'snap-in', 'vintage', 'general-grade',
] as const

export const leakageCriterion = z.union([
  z.strictObject({ family: z.enum(leakageFamilies) }),
  z.strictObject({
    /**
     * limit = factor·C·V + offset, at least `floor`; C in µF, V in volts, result in µA,
     * as data sheets print it.
     */
    factor: positive, offsetUa: z.number().min(0).default(0), floorUa: z.number().min(0).default(0),
    capUa: positive.optional(), afterS: positive, source: z.string().min(3),
  }),
])

/** Hours for which a data sheet vouches, as it prints them: at the highest temperature and rated volts. */
export const ratedLife = z.strictObject({
  ratedH: positive.max(1e6), atC: z.number().min(40).max(200), source: z.string().min(3),
})
export const derating = z.strictObject({
  aboveC: z.number().min(-55).max(200).describe('Up to here the rated volts hold'),
  sharePerK: positive.max(1).describe('By this share of themselves they fall for each kelvin above'),
  source: z.string().min(3),
})

export const partProfile = z.strictObject({
  name: z.string().regex(/^[a-z0-9][a-z0-9.-]{0,63}$/, 'small letters, digits, dots and hyphens'),
  kind: z.literal('aluminium-electrolytic'),
  capacitanceF: positive.max(1),
  toleranceMinus: z.number().min(0).max(0.9).default(0.2),
  tolerancePlus: z.number().min(0).max(2).default(0.5),
  ratedV: positive.max(1000),
  leakage: leakageCriterion,
  dissipationMax: positive.max(2).describe('tan δ limit of a new part at the bridge frequency'),
  esrFactorMax: positive.default(2).describe('How many times the new-part ESR is still accepted'),
  bridgeHz: z.union([z.literal(100), z.literal(120)]).default(120),
  shedW: positive.default(0.5)
    .describe('Steady watts the can may shed; 0.5 small can, 1 large (common practice)'),
  caseMaxC: z.number().default(45), caseRiseMaxK: positive.default(10),
  absorption: z.number().min(0).max(0.3).default(0.12),
  life: ratedLife.optional().describe('Asks for an estimate of life at the temperature of the unit'),
  derate: derating.optional().describe('Asks whether the volts of the unit are too many at its temperature'),
  note: z.string().max(2000).optional(),
  sources: z.record(z.string(), z.string().min(3)).optional()
    .describe('Where each figure comes from, by the name of its field'),
})

export type PartProfile = z.infer<typeof partProfile>
export type LeakageCriterion = z.infer<typeof leakageCriterion>
