/**
 * What the API sends, as schemas: the OpenAPI document is made of these, and tests hold every answer
 * against them.
 */
import { z } from 'zod'
import { catalogue, type ErrorCode } from '../base/errors.ts'
import { calibrated, calibrationStates } from '../schema/calibration.ts'
import { quantities } from '../schema/reading.ts'
import { criterionNames, dispositions, grades, runStates, severities, upTo } from '../schema/run.ts'
import { unitFindingsShape } from './unit-shapes.ts'

/** A number in SI units; null where there is none (JSON knows no NaN). */
const si = z.number().nullable()
const scalar = z.union([z.string(), z.number(), z.boolean(), z.null()])

export const errorBody = z.object({
  code: z.enum(Object.keys(catalogue) as [ErrorCode, ...ErrorCode[]]),
  message: z.string().describe('One sentence'),
  mend: z.string().describe('What a person can do about it'),
  context: z.record(z.string(), z.unknown()),
})

/** What a route answers: this shape, or an error of the one shape that errors have. */
export const answers = <S extends z.ZodType>(code: 200 | 202, shape: S) =>
  ({ [code]: shape, '4xx': errorBody, '5xx': errorBody }) as unknown as Record<200, z.ZodUnknown>

/** In a list of runs: without the setup. */
export const runHeadShape = z.strictObject({
  id: z.string(), sequence: z.string(), bench: z.string(), state: z.enum(runStates),
  startedWallMs: z.number(), endedWallMs: si, person: z.string(), use: z.string(), software: z.string(),
})
export const runShape = runHeadShape.extend({ setup: z.record(z.string(), z.unknown()) })

export const eventShape = z.strictObject({
  seq: z.number().int(), hash: z.string(), kind: z.string(), severity: z.enum(severities),
  atMs: z.number(), wallMs: z.number(), position: z.string().optional(), text: z.string(),
  data: z.record(z.string(), scalar).optional(),
})

const criterionShape = z.strictObject({
  name: z.enum(criterionNames), where: z.string().optional().describe('Which place of a unit'),
  value: si, unit: z.string(), expandedU: si, limitLow: si.optional(), limitHigh: si.optional(),
  guardBand: si,
  pConform: si, grade: z.enum(grades), source: z.string(),
})

export const resultShape = z.strictObject({
  of: z.literal('position').optional().describe('Of the position alone: it says nothing of the part'),
  position: z.string(), part: z.string(), profile: z.string(), grade: z.enum(grades),
  provisional: z.boolean(),
  upTo: upTo.optional().describe('The grade holds to these volts alone, below those of the rating'),
  disposition: z.enum(dispositions), pConform: si, reason: z.string(), criteria: z.array(criterionShape),
  figures: z.record(z.string(), si), unit: unitFindingsShape.optional(),
})

export const channelShape = z.strictObject({
  index: z.number().int(), name: z.string(),
  quantity: z.enum(Object.keys(quantities) as [keyof typeof quantities, ...(keyof typeof quantities)[]]),
  unit: z.string(), position: z.string().optional(),
})

export const seriesShape = z.strictObject({
  channel: channelShape,
  buckets: z.array(z.strictObject({
    atMs: z.number(), min: si, mean: si, max: si, count: z.number().int(), bad: z.number().int(),
  })),
})

export const instrumentShape = z.strictObject({
  name: z.string(), roles: z.array(z.string()), url: z.string(), profile: z.string(),
  identity: z.string().nullable(),
  matches: z.boolean(), problem: z.string().nullable(),
  selfCheck: z.strictObject({
    asked: z.number().int(), waiting: z.array(z.string()), wrong: z.array(z.string())
  }).nullable(),
  calibration: z.enum(calibrationStates).nullable(), calibrated: calibrated.nullable(),
})

export const sequenceShape = z.strictObject({
  name: z.string(), summary: z.string(), cautions: z.array(z.string()),
  parameters: z.unknown().describe('JSON Schema of the parameters'),
  origin: z.strictObject({
    file: z.string(), hash: z.string()
  }).nullable().describe('Of a person\'s own sequence'),
})

export const idParams = z.strictObject({ id: z.string().min(1).max(100) })
export const stopBody = z.strictObject({
  reason: z.string().min(1).max(500).default('a person asked for it'),
})
export const presenceBody = z.strictObject({ person: z.string().min(1).max(100) })
export const acknowledgeBody = z.strictObject({
  reason: z.string().min(1).max(500), person: z.string().min(1).max(100),
})
