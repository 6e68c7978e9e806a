/** What is asked of the parts of one or several runs together, and what comes back. SI units. */
import { z } from 'zod'
import { partKinds } from './parts-list.ts'
import { grades } from './run.ts'

const runId = z.string().min(1).max(100)
export const lotPartsMost = 20_000

/** Which parts of the runs are meant; what is left out leaves nothing out. */
export const partChoice = z.strictObject({
  kind: z.enum(partKinds).optional(),
  value: z.number().min(0).optional().describe('Nominal value in SI units, as the parts list gives it'),
  grades: z.array(z.enum(grades)).min(1).optional(),
})
export type PartChoice = z.infer<typeof partChoice>

export const matchQuantity = z.strictObject({
  quantity: z.string().min(1).max(60).describe('As on record: `gain`, `forward voltage 2`'),
  weight: z.number().min(0).max(1e6).default(1).describe(
    'What a difference costs that is as large as `within`, or as the spread of the parts without it'),
  within: z.number().positive().optional().describe(
    'No two parts of a set may differ by more: in its unit, or as a share with `as: ratio`'),
  as: z.enum(['difference', 'ratio']).default('difference'),
})
export type MatchBy = z.infer<typeof matchQuantity>

export const matchRequest = z.strictObject({
  runs: z.array(runId).min(1).max(50),
  size: z.number().int().min(2).max(100).default(2),
  by: z.array(matchQuantity).min(1).max(10),
  choice: partChoice.prefault({}),
  oneOfEach: z.boolean().default(false).describe('Pairs of two kinds, one of each, like npn with pnp'),
  leftOverCost: z.number().min(0).optional().describe(
    'What leaving out one part costs, counted as `weight` counts; left out: as many sets as there can be'),
  onto: z.array(z.string().min(1).max(60)).max(lotPartsMost).default([]).describe(
    'Designators in order, so many at a time as a set has parts; the closest sets go first'),
})
export type MatchRequest = z.infer<typeof matchRequest>

const setSpread = z.strictObject({
  quantity: z.string(), unit: z.string(),
  least: z.number(), most: z.number(),
  difference: z.number().describe('Most less least; with `as: ratio` the share by which most exceeds least'),
  expandedU: z.number().nullable().describe('Of that difference, the readings taken as independent'),
  told: z.boolean().describe('False: the difference is below what the measurement can tell'),
  within: z.enum(['surely', 'as read']).nullable().describe('Null without a limit'),
})

export const matchedSet = z.strictObject({
  parts: z.array(z.strictObject({
    label: z.string(), run: z.string(), onto: z.string().nullable(), values: z.array(z.number()),
  })),
  spreads: z.array(setSpread),
  distance: z.number(),
})
export type ShownSet = z.infer<typeof matchedSet>

export const matchAnswer = z.strictObject({
  size: z.number().int(),
  quantities: z.array(z.strictObject({
    quantity: z.string(), unit: z.string(), as: z.enum(['difference', 'ratio']), weight: z.number(),
    within: z.number().nullable(), per: z.number().describe('A difference of this much costs `weight`'),
  })),
  considered: z.number().int(),
  sets: z.array(matchedSet),
  leftOver: z.array(z.string()),
  leftOut: z.array(z.strictObject({ label: z.string(), why: z.string() })),
  /** Designators for which there was no set. */
  unfilled: z.array(z.string()),
  cost: z.number(),
  costAtLeast: z.number().describe('No other choice of sets can cost less than this'),
  optimal: z.boolean(),
  remarks: z.array(z.string()),
})
export type MatchAnswer = z.infer<typeof matchAnswer>

export const compareRequest = z.strictObject({
  runs: z.array(runId).min(1).max(50),
  by: z.enum(['run', 'kind', 'value', 'line']).default('run').describe('What makes one lot'),
  quantity: z.string().min(1).max(60).optional().describe('This one only'),
  choice: partChoice.prefault({}),
  confidence: z.number().min(0.5).max(0.9999).default(0.95),
})
export type CompareRequest = z.infer<typeof compareRequest>

const bin = z.strictObject({ lower: z.number(), upper: z.number(), count: z.number().int() })
export type ShownBin = z.infer<typeof bin>

const test = z.strictObject({
  name: z.string(), statistic: z.number().nullable(), p: z.number().nullable(),
  differs: z.boolean().nullable().describe('Null where the test could not be made'),
  asks: z.string(),
})
export type ShownTest = z.infer<typeof test>

export const comparedQuantity = z.strictObject({
  quantity: z.string(), unit: z.string(),
  lots: z.array(z.strictObject({
    lot: z.string(), n: z.number().int(), mean: z.number(), s: z.number().nullable(), median: z.number(),
    least: z.number(), most: z.number(),
    meanLow: z.number().nullable().describe('Interval of the mean; null where every part reads the same'),
    meanHigh: z.number().nullable(),
    bins: z.array(bin),
  })),
  tests: z.array(test),
  /** Of every two lots, the second less the first; of two lots one, and many at one joint confidence. */
  differences: z.array(z.strictObject({
    first: z.string(), second: z.string(), difference: z.number(), low: z.number(), high: z.number(),
    p: z.number(), differs: z.boolean(),
  })),
  /** Median expanded uncertainty of one reading; what the readings share does not average out. */
  expandedU: z.number().nullable(),
  says: z.array(z.string()),
})
export type ComparedQuantity = z.infer<typeof comparedQuantity>

export const compareAnswer = z.strictObject({
  runs: z.array(z.string()),
  by: z.enum(['run', 'kind', 'value', 'line']), confidence: z.number(),
  quantities: z.array(comparedQuantity),
  leftOut: z.array(z.string()),
  assumptions: z.array(z.string()),
})
export type CompareAnswer = z.infer<typeof compareAnswer>

export const sheetRequest = z.strictObject({
  runs: z.array(runId).min(1).max(50),
  choice: partChoice.prefault({}),
  format: z.enum(['json', 'html', 'csv']).default('json'),
})
export type SheetRequest = z.infer<typeof sheetRequest>
