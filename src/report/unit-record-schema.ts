/**
 * The machine-readable form of the record of one unit, which its page is drawn from. SI units and shares; `u`
 * is a standard uncertainty, `expandedU` one with the coverage factor; null where there is no number. Times
 * are ms since 1970, UTC.
 */
import { z } from 'zod'
import { claimEnds } from '../schema/claims.ts'
import { conditions, figureQuantities, figureUnits, type Figure } from '../schema/figure.ts'
import { unitSequences } from '../schema/powering.ts'
import { criterionNames, grades, runStates } from '../schema/run.ts'
import { curveNames } from '../schema/unit-findings.ts'
import { outputKinds } from '../schema/unit-profile.ts'
import { calibrated } from '../schema/calibration.ts'

export const unitRecordFormat = 'nightbench unit test record'
export const unitRecordVersion = 1
/** Of the expanded uncertainty of every figure; that of a comparison is the one for 95 %. */
export const coverageFactor = 2

const text = z.string()
const maybe = z.number().nullable()
const wall = z.number()
const numbers = z.array(maybe)
const units = Object.values(figureUnits) as [Figure['unit'], ...Figure['unit'][]]

const unit = z.strictObject({
  name: text, description: text, profileHash: text,
  supply: z.strictObject({
    kind: z.enum(['mains', 'dc']), voltageV: z.number(), frequencyHz: maybe, currentMaxA: z.number(),
    protection: text.nullable(), fuse: text.nullable(),
  }),
  channels: z.array(z.strictObject({
    name: text, output: z.enum(outputKinds), isValve: z.boolean(), loadOhm: z.number(), ratedW: z.number(),
  })),
})

/** What the run said last of touching it; not safe where nothing was said since mains came. */
const touch = z.strictObject({ run: text, wallMs: wall.nullable(), isSafe: z.boolean(), words: text })

/** A run that did not get done, and what it said of why. */
const alarm = z.strictObject({
  run: text, sequence: z.enum(unitSequences), state: z.enum(runStates), says: text,
})

export const verdictEnds =
  ['all met', 'some not met', 'some cannot be told', 'nothing proven', 'nothing claimed'] as const
const verdict = z.strictObject({
  end: z.enum(verdictEnds),
  met: z.number().int(), notMet: z.number().int(), cannotBeTold: z.number().int(),
  notMeasured: z.number().int(),
  says: z.array(text), limits: z.array(text),
})

const claimed = z.strictObject({
  /** As printed in the profile. */
  words: text,
  /** As it was held against the figures; null where it was not measured. */
  understood: text.nullable(),
  quantity: z.enum(figureQuantities).nullable(),
  channel: text.nullable(), least: maybe, most: maybe, unit: z.enum(units).nullable(),
  conditions: conditions.nullable(),
  end: z.enum([...claimEnds, 'not measured']),
  margin: maybe, pConform: maybe, reason: text,
  /** Ids of the figures that count, the worst first. */
  figures: z.array(text),
})

const figure = z.strictObject({
  id: text, quantity: z.enum(figureQuantities), channel: text.nullable(), value: maybe, unit: z.enum(units),
  u: maybe, expandedU: maybe, bound: z.enum(['at most', 'at least']).nullable(), conditions,
  notes: z.array(text),
})

const axis = z.strictObject({ label: text, unit: text, scale: z.enum(['linear', 'log']), values: numbers })
const curve = z.strictObject({
  name: z.enum(curveNames), channel: text.nullable(), x: axis, y: axis, under: text,
})

const compared = z.strictObject({
  name: z.enum(criterionNames), where: text.nullable(), value: maybe, unit: text, expandedU: maybe,
  limitLow: maybe, limitHigh: maybe, pConform: maybe, grade: z.enum(grades), source: text,
})

/** Lowest, mean and highest from one time to the next; `bad` readings are in none of them. */
const course = z.strictObject({
  channel: text, quantity: text, unit: text,
  atS: z.array(z.number()), min: numbers, mean: numbers, max: numbers,
  readings: z.number(), bad: z.number(),
})

const found = z.strictObject({ value: maybe, u: maybe })
const burnIn = z.strictObject({
  run: text, countedS: maybe, askedS: maybe, wallS: maybe, switchings: z.number().int(),
  lost: z.array(z.strictObject({ why: text, seconds: maybe })),
  drifts: z.array(z.strictObject({
    of: text, unit: text, start: found, end: found, change: maybe, u: maybe, hours: maybe,
  })),
  warmth: z.array(z.strictObject({
    place: text, isSteady: z.boolean(), steadyAtS: maybe, celsius: maybe, u: maybe, remainingK: maybe,
    remainingU: maybe, rule: text,
  })),
  says: text, compared: z.array(compared),
})

/** As the log has it, without an uncertainty. Limits and their source are those of the profile of the run. */
const stageReading = z.strictObject({
  of: text, value: maybe, unit: text, limitLow: maybe, limitHigh: maybe, source: text,
})
const firstPower = z.strictObject({
  run: text, unpowered: text.nullable(),
  stages: z.array(z.strictObject({
    name: text, startedWallMs: wall,
    ways: z.array(z.strictObject({ wallMs: wall, says: text })),
    read: z.array(stageReading), says: text,
  })),
  grade: z.enum(grades).nullable(), reason: text, compared: z.array(compared),
})

const part = z.strictObject({
  designator: text, what: text, ratedV: maybe, standing: text, by: text, measured: text, why: text,
  run: text.nullable(),
})
const parts = z.strictObject({
  summary: text, policy: text.nullable(), complete: z.boolean(), remarks: z.array(text), rows: z.array(part),
})

const instrument = z.strictObject({
  name: text, role: text, identity: text, profile: text, profileHash: text,
  /** Null: nobody entered it. Left out: it does not measure. */
  calibrated: calibrated.nullable().optional(),
  calibration: text, runs: z.array(text),
})

const run = z.strictObject({
  id: text, sequence: z.enum(unitSequences), state: z.enum(runStates), startedWallMs: wall,
  endedWallMs: wall.nullable(), person: text, use: text, bench: text, software: text,
  unitProfile: text, unitProfileHash: text,
  /** The run that this one goes on with. */
  continues: text.nullable(), chainHead: text,
  /** Null where it was not recomputed for this record. */
  chain: z.strictObject({ holds: z.boolean(), firstBreak: text }).nullable(),
  /** What tripped, refused or stopped it; empty where nothing did, or nothing says. */
  why: text,
  grade: z.enum(grades).nullable(), reason: text,
  holds: z.array(z.strictObject({
    id: text, says: text, mainsOn: z.boolean(), askedWallMs: wall, person: text.nullable(),
    wentOnWallMs: wall.nullable(),
  })),
  trips: z.array(z.strictObject({
    wallMs: wall, limit: text.nullable(), says: text, faultToDisconnectedMs: maybe,
  })),
  warnings: z.array(z.strictObject({ wallMs: wall, says: text })),
  touch: touch.nullable(), courses: z.array(course),
})

const otherRun = z.strictObject({
  id: text, sequence: text, state: z.enum(runStates), startedWallMs: wall, grade: z.enum(grades).nullable(),
})

export const unitRecord = z.strictObject({
  format: z.literal(unitRecordFormat), version: z.literal(unitRecordVersion),
  coverageFactor: z.literal(coverageFactor),
  specimen: text, madeWallMs: wall, software: text,
  /** Null where no run of it is on record. */
  unit: unit.nullable(),
  alarms: z.array(alarm), touch: touch.nullable(), verdict, cautions: z.array(text),
  claims: z.array(claimed),
  /** The run whose figures these are; null where none measured any. */
  provenBy: text.nullable(),
  figures: z.array(figure), curves: z.array(curve),
  burnIn: burnIn.nullable(), firstPower: firstPower.nullable(),
  /** Null where no parts list was given. */
  parts: parts.nullable(),
  instruments: z.array(instrument),
  /** What could not be measured, and which run says so. */
  left: z.array(z.strictObject({ run: text, says: text })),
  /** Oldest first. */
  runs: z.array(run),
  /** Further runs of this unit on record, of which nothing else is shown. */
  otherRuns: z.array(otherRun),
  /** False where older runs were not looked through. */
  wasAll: z.boolean(),
})
export type UnitRecord = z.infer<typeof unitRecord>
export type UnitRecordRun = UnitRecord['runs'][number]
export type UnitRecordFigure = UnitRecord['figures'][number]
export type UnitRecordClaim = UnitRecord['claims'][number]
export type UnitRecordCurve = UnitRecord['curves'][number]
export type UnitRecordCourse = UnitRecordRun['courses'][number]
export type Compared = NonNullable<UnitRecord['firstPower']>['compared'][number]
