/** A study of repeatability and reproducibility at the jig: what is asked, and what comes of it. SI units. */
import { z } from 'zod'

const person = z.string()
  .regex(/^[\p{L}\p{N}][\p{L}\p{N} .'-]{0,30}$/u, 'letters, digits, blank, dot, hyphen')

export const gaugeStudy = z.strictObject({
  people: z.array(person).min(2).max(10).refine(all => new Set(all).size === all.length, 'each person once'),
  trials: z.number().int().min(2).max(10).default(3).describe('How often each person puts in each part'),
  quantity: z.string().min(1).max(60).optional().describe('As on record; the first measured when left out'),
  seed: z.string().min(1).max(80).optional().describe('Of the order in which each person gets the parts'),
})
export type GaugeStudy = z.infer<typeof gaugeStudy>

export const gaugeRequest = z.strictObject({
  run: z.string().min(1).max(100).describe('A session of the study; others of it are taken along'),
  quantity: z.string().min(1).max(60).optional(),
  confidence: z.number().min(0.5).max(0.9999).default(0.95),
})
export type GaugeRequest = z.infer<typeof gaugeRequest>

const found = z.strictObject({
  value: z.number().nullable(), low: z.number().nullable(), high: z.number().nullable(),
})
export type Found = z.infer<typeof found>

export const gaugeVerdicts = ['good', 'may do', 'not fit', 'not known'] as const

export const gaugeAnswer = z.strictObject({
  runs: z.array(z.string()), quantity: z.string(), unit: z.string(), confidence: z.number(),
  people: z.array(z.strictObject({ person: z.string(), mean: z.number(), s: z.number() }))
    .describe('s: of readings of one part by this person'),
  parts: z.array(z.strictObject({ part: z.string(), mean: z.number() })),
  trials: z.number().int(),
  /** readings[person][part][trial] */
  readings: z.array(z.array(z.array(z.number()))),
  /** Standard deviations. */
  repeatability: found, reproducibility: found, gauge: found, partToPart: found, total: found,
  shareOfTotal: found.describe('gauge/total'),
  tolerance: z.number().nullable().describe('Width between two limits; the narrowest of several'),
  shareOfTolerance: found.describe('6·gauge/tolerance; null without two limits'),
  distinct: found.describe('1.41·parts/gauge: kinds of part that can be told apart'),
  interaction: z.strictObject({ f: z.number().nullable(), p: z.number(), pooled: z.boolean() }),
  verdict: z.enum(gaugeVerdicts),
  says: z.array(z.string()),
})
export type GaugeAnswer = z.infer<typeof gaugeAnswer>

/** The name under which one reading of a study is asked for and kept. */
export const readingName = (part: string, who: string, trial: number): string => `${part} by ${who} #${trial}`
