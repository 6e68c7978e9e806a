/** What a run was set up with, as far as it was recorded. Each piece is judged alone: one bad piece hides no other. */
import { z } from 'zod'
import type { RunRecord } from '../schema/run.ts'
import { loadedPart, type LoadedPart } from '../schema/run.ts'

export interface FixtureNumbers { limitOhm: number; senseOhm: number; formalOhm?: number | undefined }

export interface RecordInstrument {
  name: string
  role: string
  identity: string
  profile: string
  profileHash: string
}

const fixtureNumbers = z.object({
  limitOhm: z.number().positive(), senseOhm: z.number().positive(), formalOhm: z.number().positive().optional(),
})
const text = z.string().catch('')
const instrument = z.object({
  name: text, role: z.union([z.string(), z.array(z.string()).transform(roles => roles.join(', '))]).catch(''),
  identity: text, profile: text, profileHash: text,
})

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

/** What a person put on the positions: `setup.parts`, or `setup.request.parts`. */
export function partsOf(run: RunRecord): LoadedPart[] {
  const given = run.setup['parts'] ?? objectOf(run.setup['request'])['parts']
  if (!Array.isArray(given)) return []
  return (given as unknown[]).flatMap(entry => {
    const parsed = loadedPart.safeParse(entry)
    return parsed.success ? [parsed.data] : []
  })
}

function objectOf(value: unknown): Record<string, unknown> {
  return typeof value === 'object' && value !== null && !Array.isArray(value) ? value as Record<string, unknown> : {}
}
