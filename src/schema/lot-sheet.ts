/** The sheet of a lot as every interface gives it. SI units; times in ms since 1970. */
import { z } from 'zod'
import { partKinds } from './parts-list.ts'
import { grades } from './run.ts'

const share = z.strictObject({
  good: z.number().int(), n: z.number().int(), share: z.number(),
  low: z.number().describe('Exact binomial interval at 95 %'), high: z.number(),
})

const chart = z.strictObject({
  centre: z.number(), lower: z.number(), upper: z.number(), points: z.array(z.number()),
  outside: z.array(z.number().int()).describe('Indices of points outside the limits'),
})
export type SheetChart = z.infer<typeof chart>

export const lotQuantity = z.strictObject({
  quantity: z.string(), unit: z.string(), kind: z.enum(partKinds).nullable(),
  limitLow: z.number().nullable(), limitHigh: z.number().nullable(), source: z.string(),
  n: z.number().int(), mean: z.number(), s: z.number().nullable(), median: z.number(), robustS: z.number(),
  least: z.number(), most: z.number(),
  expandedU: z.number().nullable().describe('Median expanded uncertainty of one reading'),
  bins: z.array(z.strictObject({ lower: z.number(), upper: z.number(), count: z.number().int() })),
  capability: z.strictObject({
    cp: z.number().nullable(), cpk: z.number(), cpkLow: z.number(), cpkHigh: z.number(),
  }).nullable().describe('Null without limits or where the parts do not differ'),
  grubbs: z.strictObject({
    label: z.string(), value: z.number(), g: z.number(), critical: z.number(), outlier: z.boolean(),
  }).nullable().describe('The part farthest from the mean, two-sided at 5 %'),
  far: z.array(z.string()).describe('Parts more than 3.5 robust standard deviations from the median'),
  within: share.nullable().describe('Readings within the limits, guard bands aside'),
  /** In the order of measurement. */
  labels: z.array(z.string()),
  individuals: chart.nullable(), movingRange: chart.nullable(),
  says: z.array(z.string()),
})
export type LotQuantity = z.infer<typeof lotQuantity>

export const standardSeries = z.strictObject({
  standard: z.string(), quantity: z.string(), unit: z.string(),
  certified: z.number(), certifiedU: z.number().describe('Standard uncertainty of the certificate'),
  readings: z.array(z.strictObject({
    run: z.string(), wallMs: z.number(), value: z.number(), u: z.number(),
    off: z.number().describe('From the certificate, in combined standard uncertainties'),
    inControl: z.boolean(),
    /** By its own history; null while there is none yet. */
    rule: z.string().nullable(),
  })),
  history: z.strictObject({ target: z.number(), sd: z.number(), readings: z.number().int() }).nullable()
    .describe('Mean and standard deviation of the first eight readings, where there are more'),
  says: z.array(z.string()),
})
export type StandardSeries = z.infer<typeof standardSeries>

export const lotSheetShape = z.strictObject({
  runs: z.array(z.strictObject({
    id: z.string(), sequence: z.string(), bench: z.string(), person: z.string(), startedWallMs: z.number(),
    state: z.string(),
    sample: z.strictObject({ n: z.number().int(), lotSize: z.number().int() }).nullable()
      .describe('Only so many of the lot were measured; the others have no grade'),
  })),
  parts: z.number().int(), replaced: z.number().int(),
  grades: z.record(z.enum(grades), z.number().int()),
  yield: share.nullable().describe('Accepted, of all that have a result'),
  quantities: z.array(lotQuantity).describe('Most parts first'),
  standards: z.array(standardSeries),
})
export type LotSheet = z.infer<typeof lotSheetShape>
