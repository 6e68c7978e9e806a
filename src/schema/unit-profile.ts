/** The unit profile: what a unit is, what may be done to it, and what it claims. Data only; SI units. */
import { z } from 'zod'
import { claimEntry } from './claims.ts'

const positive = z.number().positive()
const name = z.string().regex(/^[a-z][a-z0-9-]{0,31}$/, 'small letters, digits, hyphens')
/** Of a limit: service data of this unit win over common practice, and the record says which it was. */
const source = z.string().min(3).max(300).default('common practice')

const mains = z.strictObject({
  kind: z.literal('mains'),
  voltageV: positive.max(260), frequencyHz: z.union([z.literal(50), z.literal(60)]),
  protection: z.enum(['earthed', 'double-insulated', 'unknown'])
    .describe('How its case keeps a person from the mains'),
  fuse: z.string().min(2).max(40).describe('As the unit prints it'),
  currentMaxA: positive.max(32).describe('At full power; more trips'),
  powerIdleMaxW: positive, powerMaxW: positive,
  inrushMs: z.number().min(0).max(5000).default(500)
    .describe('How long after closing more current than that is the inrush'),
  mayRunLow: z.boolean()
    .describe('Whether it may be run at less than its nominal volts (not a switch-mode supply)'),
})
const direct = z.strictObject({
  kind: z.literal('dc'), voltageV: positive.max(60), currentMaxA: positive.max(100),
  currentIdleMaxA: positive,
})

export const outputKinds = ['earthed', 'bridged', 'floating', 'line-transformer'] as const

const channel = z.strictObject({
  name,
  input: z.strictObject({
    impedanceOhm: positive, sourceOhm: z.number().min(0).default(600)
      .describe('Of the source that the figures are claimed for'),
    levelMaxV: positive.describe('Never driven with more'),
  }),
  output: z.strictObject({
    kind: z.enum(outputKinds), isValve: z.boolean(),
    loadOhm: positive, ratedW: positive,
    dcMaxV: positive.describe('Most DC at its terminals'), dcSource: source,
  }),
})

const rail = z.strictObject({
  name, nominalV: z.number().refine(v => v !== 0, 'not 0'),
  tolerance: positive.max(0.5).default(0.1).describe('As a share of nominal, at nominal mains'),
  pairedWith: name.optional().describe('The rail that it mirrors: they are held against each other'),
  asymmetryMax: positive.max(0.5).default(0.05), source,
})

const temperature = z.strictObject({
  place: name, maxC: positive.max(300),
  riseMaxKPerMin: positive.max(100).default(10), source,
})

const idle = z.strictObject({
  name, minA: z.number().min(0), maxA: positive,
  overOhm: positive.describe('The resistor whose volts are read'), source,
})

/** A step of putting the unit together; power is applied after each, with what is fitted so far. */
const stage = z.strictObject({
  name, note: z.string().max(300).default(''),
  parts: z.array(z.string().min(1).max(64)).default([])
    .describe('Designators that must be proven before this stage has power'),
  rails: z.array(name).default([]).describe('Rails that must stand by then'),
  outputs: z.boolean().default(false).describe('Output stages are fitted: DC at each output is looked at'),
})

export const unitProfile = z.strictObject({
  version: z.literal(1),
  unit: z.string().regex(/^[a-z][a-z0-9-]{1,63}$/, 'small letters, digits, hyphens; the bare file name'),
  description: z.string().max(500),
  supply: z.discriminatedUnion('kind', [mains, direct]),
  channels: z.array(channel).min(1).max(16),
  rails: z.array(rail).max(32).default([]),
  idle: z.array(idle).max(32).default([]),
  temperatures: z.array(temperature).max(32).default([]),
  stages: z.array(stage).min(1).max(32)
    .prefault([{ name: 'whole', outputs: true, note: 'As it stands' }]),
  /** From mains off until every rail is below touch-safe by its own bleeders. */
  railsDownS: positive.max(3600).default(60),
  claims: z.array(claimEntry).max(200).default([]),
})
export type UnitProfile = z.infer<typeof unitProfile>
export type UnitChannel = UnitProfile['channels'][number]
export type UnitStage = UnitProfile['stages'][number]
