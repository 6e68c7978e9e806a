/** A screening session as every interface sees it: what is asked, planned, and how it stands. SI units. */
import { z } from 'zod'
import { calibrationTold } from './calibration.ts'
import { compensatedBy } from './compensation.ts'
import { gaugeStudy } from './gauge.ts'
import { partsList } from './parts-list.ts'
import { grades } from './run.ts'
import { sampleAsked, sampleDrawn } from './sampling.ts'
import { trayPlan, trayStatus } from './tray.ts'
import { unitName } from './unit.ts'

/**
 * A part of known value that is measured between the others: what it reads shows whether the jig can be
 * trusted.
 */
export const checkStandard = z.strictObject({
  id: unitName,
  quantity: z.enum(['resistance', 'capacitance']),
  value: z.number().positive(),
  u: z.number().positive().describe('Standard uncertainty of its certificate, in the unit of the value'),
})
export type CheckStandard = z.infer<typeof checkStandard>

export const screenRequest = z.strictObject({
  unit: unitName.describe('What the parts are for: the record names each by it, like pavilion-C14'),
  parts: partsList.shape.parts.min(1),
  standards: z.array(checkStandard).max(20).default([]),
  standardsEvery: z.number().int().min(1).max(1000).default(50),
  ask: z.enum(['open', 'not accepted', 'all']).default('open').describe(
    'Parts without a result that stands, those that were not accepted as well, or all of the list'),
  insulation: z.boolean().default(true).describe(
    'Capacitors are charged, and what they leak is read; without it capacitance and loss alone are proven'),
  absorption: z.boolean().default(false).describe(
    'Capacitors: what comes back after a short as well, half an hour each'),
  mains: z.strictObject({
    voltageV: z.number().min(50).max(300), frequencyHz: z.number().min(16).max(400),
  }).default({ voltageV: 240, frequencyHz: 50 }).describe('That parts of a mains class are reckoned for'),
  person: z.string().min(1).max(100),
  compensate: z.boolean().default(false).describe(
    'What the jig itself adds is found first: it is measured empty, and with a bare wire across 1 and 2'),
  cautionsConfirmed: z.boolean().optional()
    .describe('A person has read the cautions of the plan; asked for where it goes above touch-safe'),
  sample: sampleAsked.optional().describe('Measure only a sample of a list of one line, and judge its lot'),
  byHand: z.boolean().optional().describe('Nothing is laid on the tray, where the bench has one'),
  study: gaugeStudy.optional().describe('Measure each part often, by several people: a study of the gauge'),
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
      mostJ: z.number(),
      parts: z.array(z.string()),
      expectedS: z.number(),
      /** Above touch-safe: behind the locked cover, at a press of the button for each part. */
      covered: z.literal(true).optional(),
      /** Laid on the tray, many at once. */
      onTray: z.literal(true).optional(),
    }),
  ),
  /** Read by a person before a session begins that goes above touch-safe; left out of others. */
  cautions: z.array(z.string()).optional(),
  cannot: z.array(unproven),
  /** Parts that are not asked for: a session before this one has their result. */
  settled: z.array(z.strictObject({ id: z.string(), grade: z.enum(grades), run: z.string() })),
  expectedS: z.number(),
  /** Of it, for what compensates the jig and for check standards. */
  asideS: z.number(),
  mostV: z.number(),
  mostA: z.number(),
  mostJ: z.number(),
  /** Where parts go onto a tray. */
  tray: trayPlan.optional(),
  sample: sampleDrawn.optional(),
  /** What the jig adds is taken off as that run found it; null: none did lately, or it is found first. */
  compensated: compensatedBy.nullable(),
  calibration: calibrationTold,
  /** What is asked for before anything else. */
  zeros: z.array(z.enum(['empty jig', 'shorting wire'])),
})
export type ShownScreenPlan = z.infer<typeof screenPlan>

/**
 * What a person does. `measure`: now, whatever the jig shows (an open part cannot be seen). `keep`: the
 * doubtful outcome stands. `again`: measure what lies in the jig anew. `second opinion`: the same part once
 * more, beside the first result. `undo`: the last result is taken back and its part asked for again.
 * `adjusted`: the cause of a standard out of control is mended. `plus at 1`, `plus at 2`: which end of what
 * lies in the jig is plus, where the bench cannot find it. `laid`: what the tray is to hold lies there.
 */
export const deeds = [
  'pause', 'resume', 'skip', 'measure', 'again', 'keep', 'undo', 'second opinion', 'adjusted', 'end',
  'plus at 1', 'plus at 2', 'laid',
] as const
export type Deed = (typeof deeds)[number]

/** `at`: of which position of the tray. */
export const deedAsked = z.strictObject({ does: z.enum(deeds), at: z.string().max(8).optional() })

export const tones = ['ask', 'good', 'bad', 'unsure', 'attention'] as const
export type Tone = (typeof tones)[number]
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
    'laying',
    'in doubt',
    'out of control',
    'done',
  ]),
  /** Nothing more is asked for, nor measured by itself, before a person resumes. */
  paused: z.boolean(),
  /** `about`: the part or standard that it was said of, which need not be in hand any more. */
  told: z.strictObject({ tone: z.enum(tones), text: z.string(), about: z.string() }).nullable(),
  /** What there is to say of touching what lies behind the cover; left out where the jig has none. */
  touch: z.string().optional(),
  counts: z.record(z.enum(grades), z.number()),
  left: z.number().int(),
  /** Parts of the list with a result of an earlier session. */
  settled: z.number().int(),
  /** While parts lie on a tray, or are to. */
  tray: trayStatus.optional(),
})
export type ScreenStatus = z.infer<typeof screenStatus>
