/**
 * What a run was set up with, as far as it was recorded. Each piece is judged alone: one bad piece hides
 * no other.
 */
import { z } from 'zod'
import { calibrated, type Calibrated } from '../schema/calibration.ts'
import type { RunRecord } from '../schema/run.ts'
import { loadedPart, type LoadedPart } from '../schema/run.ts'

export interface FixtureNumbers { limitOhm: number; senseOhm: number; formalOhm?: number | undefined }

export interface RecordInstrument {
  name: string
  role: string
  identity: string
  profile: string
  profileHash: string
  /** Null: nobody entered it. Left out: it does not measure, or an earlier version wrote the record. */
  calibrated?: Calibrated | null | undefined
}

const fixtureNumbers = z.object({
  limitOhm: z.number().positive(), senseOhm: z.number().positive(),
  formalOhm: z.number().positive().optional(),
})
const text = z.string().catch('')
const instrument = z.object({
  name: text, role: z.union([z.string(), z.array(z.string()).transform(roles => roles.join(', '))]).catch(''),
  identity: text, profile: text, hash: text, profileHash: z.string().optional().catch(undefined),
  calibrated: calibrated.nullable().optional().catch(undefined),
}).transform(({ hash, profileHash, ...rest }) => ({ ...rest, profileHash: profileHash ?? hash }))
const origin = z.object({ file: z.string(), hash: z.string() })
const partSetup = z.object({ name: z.string(), hash: z.string(), profile: z.unknown() })

/** Whether parts came and went at a jig, and none stands at a position of the fixture. */
export const isAtJig = ({ setup }: RunRecord): boolean => setup['jig'] !== undefined

/** Fixture resistances in ohms, or null when the run has none recorded. */
export function fixtureOf(run: RunRecord): FixtureNumbers | null {
  const parsed = fixtureNumbers.safeParse(run.setup['fixture'])
  return parsed.success ? parsed.data : null
}

/** Instruments with identity and profile hash; given as a list, or as an object by name. */
export function instrumentsOf(run: RunRecord): RecordInstrument[] {
  const given = run.setup['instruments']
  const entries = Array.isArray(given)
    ? given as unknown[]
    : Object.entries(objectOf(given)).map(([name, entry]) => ({ name, ...objectOf(entry) }))
  return entries.flatMap(entry => {
    const parsed = instrument.safeParse(entry)
    return parsed.success ? [parsed.data] : []
  })
}

/** What a person put on the positions: `setup.request.parts`. */
export function partsOf(run: RunRecord): LoadedPart[] {
  return listOf(objectOf(run.setup['request'])['parts']).flatMap(entry => {
    const parsed = loadedPart.safeParse(entry)
    return parsed.success ? [parsed.data] : []
  })
}

/**
 * File and hash of a person's own sequence: `setup.sequence.origin`; null where the run used one that ships.
 */
export function sequenceOriginOf(run: RunRecord): { file: string; hash: string } | null {
  const parsed = origin.safeParse(objectOf(run.setup['sequence'])['origin'])
  return parsed.success ? parsed.data : null
}

/** The run that this one continues, or null. */
export function continuesOf(run: RunRecord): string | null {
  const parsed = z.string().safeParse(run.setup['continues'])
  return parsed.success ? parsed.data : null
}

/** Part profiles by name with the hash of each: `setup.parts`. */
export const partProfilesOf = (run: RunRecord): { name: string; hash: string }[] =>
  partSetupsOf(run).map(({ name, hash }) => ({ name, hash }))

/** The same with each profile as it was then, not looked into. */
export function partSetupsOf(run: RunRecord): { name: string; hash: string; profile?: unknown }[] {
  return listOf(run.setup['parts']).flatMap(entry => {
    const parsed = partSetup.safeParse(entry)
    return parsed.success ? [parsed.data] : []
  })
}

function listOf(value: unknown): unknown[] { return Array.isArray(value) ? value as unknown[] : [] }

function objectOf(value: unknown): Record<string, unknown> {
  return typeof value === 'object' && value !== null && !Array.isArray(value)
    ? value as Record<string, unknown>
    : {}
}
