/** A screening session as every interface sees it: what is asked, planned, and how it stands. SI units. */
import { z } from 'zod'
import { partsList } from './parts-list.ts'
import { grades } from './run.ts'

const slug = z
  .string()
  .regex(/^[A-Za-z0-9][A-Za-z0-9._-]{0,40}$/, 'letters, digits, dot, hyphen, underscore')

/**
 * A part of known value that is measured between the others: what it reads shows whether the jig can be
 * trusted.
 */
export const checkStandard = z.strictObject({
  id: slug,
  quantity: z.enum(['resistance', 'capacitance']),
  value: z.number().positive(),
  u: z.number().positive().describe('Standard uncertainty of its certificate, in the unit of the value'),
})
export type CheckStandard = z.infer<typeof checkStandard>

export const screenRequest = z.strictObject({
  unit: slug.describe('What the parts are for: the record names each by it, like pavilion-C14'),
  parts: partsList.shape.parts.min(1),
  standards: z.array(checkStandard).max(20).default([]),
  standardsEvery: z.number().int().min(1).max(1000).default(50),
  person: z.string().min(1).max(100),
})
export type ScreenRequest = z.infer<typeof screenRequest>

const unproven = z.strictObject({ id: z.string(), why: z.string(), wayOut: z.string() })
export const screenPlan = z.strictObject({
  groups: z.array(
    z.strictObject({
      leads: z.string(),
      measures: z.string(),
      mostV: z.number(),
      mostA: z.number(),
      parts: z.array(z.string()),
      expectedS: z.number(),
    }),
  ),
  cannot: z.array(unproven),
  expectedS: z.number(),
  mostV: z.number(),
  mostA: z.number(),
})
export type ShownScreenPlan = z.infer<typeof screenPlan>

export const tones = ['ask', 'good', 'bad', 'unsure', 'attention'] as const
export const screenStatus = z.strictObject({
  run: z.string(),
  /** What is in hand: a part, a standard, or nothing. */
  asked: z.string().nullable(),
  /** What hands do for it: changes when another group of parts begins. */
  leads: z.string(),
  stands: z.enum([
    'clearing',
    'asking',
    'measuring',
    'leaving',
    'in doubt',
    'out of control',
    'paused',
    'done',
  ]),
  told: z.strictObject({ tone: z.enum(tones), text: z.string() }).nullable(),
  counts: z.record(z.enum(grades), z.number()),
  left: z.number().int(),
})
export type ScreenStatus = z.infer<typeof screenStatus>
