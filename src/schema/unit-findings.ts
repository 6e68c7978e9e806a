/** What a run of a whole unit found, beside the criteria of its grade: kept with its result. SI units. */
import { z } from 'zod'
import { claim, claimEnds, type ClaimVerdict } from './claims.ts'
import { conditions, figureQuantities, figureUnits, type Figure } from './figure.ts'

/** Not a number where there is none. */
const anyNumber = z.custom<number>(value => typeof value === 'number', 'a number')
const text = z.string()

const figure = z.looseObject({
  quantity: z.enum(figureQuantities), channel: text.nullable(), value: anyNumber,
  unit: z.enum(Object.values(figureUnits) as [Figure['unit'], ...Figure['unit'][]]),
  u: anyNumber, bound: z.enum(['at most', 'at least']).optional(), conditions, notes: z.array(text),
}) as unknown as z.ZodType<Figure>

const verdict = z.looseObject({
  words: text, claim, end: z.enum(claimEnds), margin: anyNumber, pConform: anyNumber,
  figures: z.array(figure), reason: text,
}) as unknown as z.ZodType<ClaimVerdict>

export const curveNames = [
  'response', 'distortion against power', 'distortion against frequency', 'spectrum',
] as const

const axis = z.strictObject({
  label: text, unit: text, scale: z.enum(['linear', 'log']), values: z.array(anyNumber),
})

/** A course worth drawing: as many points on either axis. */
export const curve = z.strictObject({
  name: z.enum(curveNames), channel: text.nullable(), x: axis, y: axis,
  /** What it was measured under, one sentence. */
  under: text,
})
export type Curve = z.infer<typeof curve>

/** How far a quantity went between two looks under the same drive. */
export const drift = z.strictObject({
  of: text, unit: text,
  start: z.strictObject({ value: anyNumber, u: anyNumber }),
  end: z.strictObject({ value: anyNumber, u: anyNumber }),
  /** End less start, and its standard uncertainty. */
  change: anyNumber, u: anyNumber,
  /** Hours that counted between the two. */
  hours: anyNumber,
})
export type Drift = z.infer<typeof drift>

export const warmth = z.strictObject({
  place: text, isSteady: z.boolean(),
  /** Counted time at which it came to rest, s; null where it did not. */
  steadyAtS: anyNumber.nullable(),
  celsius: anyNumber, u: anyNumber,
  /** What is still to come, K; null where it cannot be told. */
  remainingK: anyNumber.nullable(),
  /** Its standard uncertainty, K. Runs of before it was kept have none. */
  remainingU: anyNumber.nullable().optional(),
  /** By which rule it is called steady. */
  rule: text,
})
export type Warmth = z.infer<typeof warmth>

export const burnInFindings = z.strictObject({
  /** Time that counted, and that was asked for, s. */
  countedS: anyNumber, askedS: anyNumber,
  /** From its start to its end by the wall, s. */
  wallS: anyNumber,
  switchings: z.number().int(),
  /** Time that did not count, by why, s. */
  lost: z.array(z.strictObject({ why: text, seconds: anyNumber })),
  drifts: z.array(drift), warmth: z.array(warmth),
  /** What these hours do and do not show. */
  says: text,
})
export type BurnInFindings = z.infer<typeof burnInFindings>

export const unitFindings = z.strictObject({
  figures: z.array(figure), claims: z.array(verdict), curves: z.array(curve),
  /** What could not be measured, one sentence each. */
  left: z.array(text),
  burnIn: burnInFindings.optional(),
})
export type UnitFindings = z.infer<typeof unitFindings>
