/** Where a whole unit stands on a bench: its mains, probes, loads and sensors, and what is asked of a run. */
import { z } from 'zod'
import { unitName } from './unit.ts'

const positive = z.number().positive()
const name = z.string().regex(/^[a-z][a-z0-9-]{0,31}$/, 'small letters, digits, hyphens')
const channel = z.number().int().min(0).max(9999)

const probe = z.strictObject({
  name, channel: channel.describe('Of the scanner'),
  ratio: positive.max(10_000).default(1).describe('Volts at the tip for one volt at the meter'),
  tipMaxV: positive.max(2000).describe('Most volts that the tip and its divider stand'),
})

const output = z.strictObject({
  name, load: channel, generator: channel, digitizer: channel.optional(),
  divider: positive.max(10_000).default(1).describe('Volts at the output for one volt at the digitizer'),
  dividerPct: z.number().min(0).max(10).default(0.1).describe('Limits of error of its ratio, %'),
  dividerMaxV: positive.optional().describe('Most volts that the divider stands, RMS'),
  inLineOhm: z.number().min(0).max(1e6).default(0)
    .describe('Between the generator and the input of the unit, in its lead: part of the source'),
})

export const stand = z.strictObject({
  mainsV: positive.max(260), mainsHz: z.union([z.literal(50), z.literal(60)]),
  mainsTolerance: positive.max(0.2).default(0.1),
  probes: z.array(probe).max(64).default([]),
  outputs: z.array(output).max(16).default([]),
  thermometers: z.array(z.strictObject({ name, channel })).max(32).default([]),
  cadence: z.strictObject({
    mainsMs: z.number().int().min(50).max(5000).default(200),
    probesMs: z.number().int().min(200).max(60_000).default(2000),
    temperatureMs: z.number().int().min(500).max(60_000).default(5000),
  }).prefault({}),
}).refine(({ probes }) => distinct(probes), { path: ['probes'], message: 'each name once' })
  .refine(({ outputs }) => distinct(outputs), { path: ['outputs'], message: 'each name once' })
  .refine(({ thermometers }) => distinct(thermometers),
    { path: ['thermometers'], message: 'each name once' })
export type StandSpec = z.infer<typeof stand>
export type ProbeSpec = StandSpec['probes'][number]
export type StandOutput = StandSpec['outputs'][number]

const distinct = (named: readonly { name: string }[]): boolean =>
  new Set(named.map(one => one.name)).size === named.length

/**
 * What was found with the mains plug out, by a person who may do that work. Which of them a unit needs
 * follows from how its case keeps people from the mains.
 */
export const unpoweredChecks = z.strictObject({
  by: z.string().min(1).max(100).describe('Who measured'),
  earthBondOhm: z.number().min(0).optional().describe('From the earth pin to the case'),
  insulationOhm: positive.optional().describe('From the mains pins together to the case'),
  insulationV: positive.max(1000).optional().describe('At this test voltage'),
  fuse: z.string().min(1).max(40).describe('As read on the fuse that is in'),
  mainsPartsProven: z.boolean()
    .describe('Parts across the mains and from there to earth are of their class and proven'),
  railsNotShorted: z.boolean().describe('No rail is a short to its return'),
})
export type UnpoweredChecks = z.infer<typeof unpoweredChecks>

const wires = z.record(name, name).default({})

export const unitRequest = z.strictObject({
  unit: z.string().min(1).max(64).describe('Name of the unit profile'),
  specimen: unitName.describe('This one unit, by its name on record'),
  wiring: z.strictObject({ probes: wires, outputs: wires, thermometers: wires }).prefault({})
    .describe('From names of the profile to names of the stand, where they differ'),
  unpowered: unpoweredChecks,
})
export type UnitOnStand = z.infer<typeof unitRequest>
