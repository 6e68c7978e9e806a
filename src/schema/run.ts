/** Runs, events and results: what the store keeps and every interface shows. */
import { z } from 'zod'
import { position, positionsMost } from './bench.ts'
import { serviceTemperatureC } from './service.ts'
import type { UnitFindings } from './unit-findings.ts'

export const grades = ['accept', 'marginal', 'reject', 'cannot tell'] as const
export type Grade = (typeof grades)[number]
export const dispositions = ['use', 'form', 'replace', 'retest'] as const
export type Disposition = (typeof dispositions)[number]

export const runStates =
  ['prepared', 'running', 'done', 'tripped', 'stopped', 'interrupted', 'refused'] as const
export type RunState = (typeof runStates)[number]

export const stages = [
  'waiting', 'proving', 'checking', 'polarity', 'forming', 'soaking', 'formal', 'bleeding', 'watching',
  'measuring', 'graded', 'dropped',
] as const
export type Stage = (typeof stages)[number]

/** What a person puts on a position. */
export const loadedPart = z.strictObject({
  position: position.shape.name,
  part: z.string().regex(/^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$/, 'letters, digits, dot, hyphen, underscore'),
  profile: z.string().regex(/^[A-Za-z0-9][A-Za-z0-9.-]{0,63}$/, 'letters, digits, dots and hyphens'),
  note: z.string().max(500).default(''),
  condition: z.enum(['sound', 'bulging', 'weeping', 'possible-pcb']).default('sound'),
  ratedV: z.number().positive().max(1000).optional()
    .describe('As printed on it; a plan refuses a part whose profile says another'),
  capacitanceF: z.number().positive().max(1).optional().describe('As printed on it; likewise'),
  serviceC: serviceTemperatureC.optional().describe('How warm its can gets in its unit'),
  serviceV: z.number().min(0).max(1000).optional()
    .describe('Volts that it has in its unit; its rated volts when left out'),
})
export type LoadedPart = z.infer<typeof loadedPart>

export const startRequest = z.strictObject({
  sequence: z.string(),
  parameters: z.record(z.string(), z.unknown()).default({}),
  parts: z.array(loadedPart).max(positionsMost).default([]),
  use: z.enum(['unattended', 'attended', 'touch-safe']).default('unattended'),
  person: z.string().min(1).max(100),
  cautionsConfirmed: z.boolean().default(false),
  polarityConfirmed: z.boolean().default(false),
})
export type StartRequest = z.infer<typeof startRequest>

export const severities = ['info', 'warning', 'trip', 'fatal'] as const
export type Severity = (typeof severities)[number]

/** One thing that happened. `atMs` monotonic within the run's process, `wallMs` since 1970. */
export interface RunEvent {
  readonly kind: string
  readonly severity: Severity
  readonly atMs: number
  readonly wallMs: number
  readonly position?: string
  /** One plain sentence, ready for a screen. */
  readonly text: string
  readonly data?: Readonly<Record<string, string | number | boolean | null>>
}

export const criterionNames = [
  'leakage', 'capacitance', 'esr', 'dissipation', 'forming', 'contact', 'short', 'bench', 'resistance',
  'contact resistance', 'inductance', 'quality factor', 'winding resistance', 'forward voltage',
  'reverse current', 'zener voltage', 'zener slope', 'collector leakage', 'gain', 'base-emitter voltage',
  'saturation voltage', 'drain current', 'cut-off voltage', 'gate leakage', 'threshold voltage',
  'transconductance', 'on-resistance', 'drain leakage', 'end resistance', 'wiper noise',
  'share at half a turn', 'turns ratio', 'leakage inductance', 'winding leakage', 'halves of a winding',
  'regulation', 'tracking',
  'absorption', 'time to touch-safe', 'earth leakage',
  'rail voltage', 'rail symmetry', 'idle current', 'dc at the output', 'mains current', 'mains power',
  'temperature', 'drift',
] as const

/** One comparison behind a grade. SI units. */
export interface Criterion {
  readonly name: (typeof criterionNames)[number]
  /** Of which place of a unit; left out where there is one of its kind. */
  readonly where?: string
  readonly value: number
  readonly unit: string
  readonly expandedU: number
  readonly limitLow?: number
  readonly limitHigh?: number
  readonly guardBand: number
  readonly pConform: number
  readonly grade: Grade
  /** Where the limit comes from, in words. */
  readonly source: string
}

/** Volts that a part was taken to, and those of its rating, which are more. */
export const upTo = z.strictObject({ volts: z.number(), ratedV: z.number() })
export type UpTo = z.infer<typeof upTo>
export const upToWords = ({ volts, ratedV }: UpTo): string => `to ${volts} V of ${ratedV} V`

export interface PartResult {
  /** Of the bench's position, with whatever sat there: it says nothing of the part. */
  readonly of?: 'position'
  readonly position: string
  readonly part: string
  readonly profile: string
  readonly grade: Grade
  readonly provisional: boolean
  /** The grade holds to `volts` alone; left out where the part was taken to its rating. */
  readonly upTo?: UpTo
  readonly disposition: Disposition
  readonly pConform: number
  /** Why, in one sentence. */
  readonly reason: string
  readonly criteria: readonly Criterion[]
  /** Fits and figures worth keeping, SI units, by name with the unit last. */
  readonly figures: Readonly<Record<string, number>>
  /** Of a whole unit: what was measured of it. */
  readonly unit?: UnitFindings
}

/** Sequences that judge positions of the bench, whatever part sits there. */
const positionSequences: readonly string[] = ['bench-check']
export const judgesPositions = ({ sequence }: Pick<RunRecord, 'sequence'>): boolean =>
  positionSequences.includes(sequence)
export const isOfPosition = ({ of }: Pick<PartResult, 'of'>): boolean => of === 'position'

const positionWords: Record<Grade, string> = {
  accept: 'position sound', reject: 'position at fault', marginal: 'position not shown to be sound',
  'cannot tell': 'position not shown to be sound',
}

/** The grade as every screen, line and event says it, with what it is not: of the part, or closed. */
export function gradeWords({ grade, provisional, of, upTo }: Graded): string {
  if (of === 'position') return positionWords[grade]
  return [grade, ...provisional ? ['(provisional)'] : [], ...upTo ? [upToWords(upTo)] : []].join(' ')
}
type Graded = Pick<PartResult, 'grade' | 'provisional' | 'of' | 'upTo'>

/** What to do with the part; nothing where the part was not judged. */
export const dispositionWords = ({ of, disposition }: Pick<PartResult, 'of' | 'disposition'>): string =>
  of === 'position' ? '' : disposition

/** Grade and what to do, in one phrase. */
export const verdictWords = (result: Graded & Pick<PartResult, 'disposition'>): string =>
  [gradeWords(result), dispositionWords(result)].filter(Boolean).join(', ')

/** A part that a run dropped, and that stays off the bus when that run is continued. */
export interface LeftOut {
  readonly position: string
  readonly part: string
  /** What was said as it was dropped. */
  readonly why: string
  /** The run that dropped it. */
  readonly run?: string
  /** What that run made of it; null where it came to no grade. */
  readonly result?: PartResult | null
  /** The last that was said of touching it; null where nothing was. */
  readonly touch?: { readonly text: string; readonly wallMs: number } | null
}

/** A run in a list of them: without its setup, which may be long. */
export type RunHead = Omit<RunRecord, 'setup'>

export interface RunRecord {
  readonly id: string
  readonly sequence: string
  readonly bench: string
  readonly state: RunState
  readonly startedWallMs: number
  readonly endedWallMs: number | null
  readonly person: string
  readonly use: string
  readonly software: string
  /** Everything that was asked for and with: request, plan, profiles and their hashes, identities. */
  readonly setup: Readonly<Record<string, unknown>>
}
