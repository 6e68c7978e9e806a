/** Lots of which a sample alone is measured: what is asked, how it was drawn, and what came of it. */
import { z } from 'zod'

/** Levels of inspection and acceptable quality levels (per cent bad) of the sampling tables. */
export const sampleLevels = ['S-1', 'S-2', 'S-3', 'S-4', 'I', 'II', 'III'] as const
export const sampleAqls = [
  '0.010', '0.015', '0.025', '0.040', '0.065', '0.10', '0.15', '0.25', '0.40', '0.65', '1.0', '1.5', '2.5',
  '4.0', '6.5', '10', '15', '25', '40', '65', '100', '150', '250', '400', '650', '1000',
] as const
/** Beyond 10 the tables count faults per hundred parts, of which one part may have several. */
export const sampleAqlsOfParts = sampleAqls.slice(0, sampleAqls.indexOf('10') + 1)

export const sampleAsked = z.strictObject({
  aql: z.enum(sampleAqls).refine(aql => sampleAqlsOfParts.includes(aql), 'at most 10 per cent bad parts'),
  level: z.enum(sampleLevels).default('II'),
  source: z.string().min(1).max(80).describe(
    'What lots come from, by which inspection is tightened and reduced from lot to lot'),
  seed: z.string().min(1).max(80).optional().describe('Of the order in which parts are drawn'),
  /** Production was irregular: reduced inspection then ends, or does not begin. */
  steady: z.boolean().default(true),
  reducedLimit: z.number().int().min(0).optional().describe(
    'Reduced inspection may begin when ten samples had no more bad parts than this together'),
  mended: z.string().min(1).max(500).optional().describe(
    'What was put right at a source whose inspection was stopped'),
})
export type SampleAsked = z.infer<typeof sampleAsked>

export const inspections = ['normal', 'tightened', 'reduced', 'stopped'] as const

/** How a lot was drawn: on record before the first part is measured. */
export const sampleDrawn = z.strictObject({
  source: z.string(), level: z.enum(sampleLevels), aql: z.enum(sampleAqls),
  inspection: z.enum(inspections), letter: z.string(),
  lotSize: z.number().int(), n: z.number().int(), ac: z.number().int(), re: z.number().int(),
  seed: z.string(), drawn: z.array(z.string()),
  original: z.boolean().describe('False: a lot inspected again, which does not count for switching'),
  steady: z.boolean(), reducedLimit: z.number().int().nullable(), mended: z.string().nullable(),
  /** Lots since this inspection began, newest last, as `0a 2r`: bad parts, accepted or refused. */
  lots: z.string(),
  curve: z.array(z.strictObject({ bad: z.number().int(), accepted: z.number() })).describe(
    'Chance that the lot is accepted with so many bad parts in it'),
})
export type SampleDrawn = z.infer<typeof sampleDrawn>

export const lotOutcomes = ['accepted', 'refused', 'undecided'] as const
export type LotOutcome = (typeof lotOutcomes)[number]

export const sourceState = z.strictObject({
  source: z.string(), level: z.enum(sampleLevels), aql: z.enum(sampleAqls), inspection: z.enum(inspections),
  lots: z.array(z.strictObject({
    run: z.string(), lot: z.string(), wallMs: z.number(), lotSize: z.number().int(), n: z.number().int(),
    measured: z.number().int(), bad: z.number().int(), outcome: z.enum(lotOutcomes),
    inspection: z.enum(inspections), text: z.string(),
  })).describe('Oldest first'),
})
export type SourceState = z.infer<typeof sourceState>
