/**
 * How a part stood when last looked at: what was said of touching it, its volts, what came back under watch.
 */
import { z } from 'zod'
import { restLeastS, restMostS } from '../schema/rest.ts'
import { qualities, type Channel } from '../schema/reading.ts'
import type { PartResult, RunRecord } from '../schema/run.ts'
import { lastTouches, unsaidOf } from './touch-lines.ts'
import type { Store, StoredEvent } from '../schema/store.ts'

export interface EndState {
  /** What was said last of touching it, without its position. */
  words: string
  /** It was seen to be below touch-safe. */
  measured: boolean
  /** When that was said; null where nothing was. */
  wallMs: number | null
  /**
   * The last good reading through its bleeder; null where the record has none of that time, or where it
   * shows nothing of the part: a zero through an open path is no volts.
   */
  volts: { value: number; expandedU: number; wallMs: number } | null
  /** The most that came back while the bleeders were open, volts; null where that was not watched. */
  recoveredV: number | null
}

/** When a second formal reading may close a provisional grade, ms since 1970. */
export interface CloseWindow { fromWallMs: number; toWallMs: number }

export interface EndSource {
  store: Store
  run: RunRecord
  events: readonly StoredEvent[]
  /** The position's current; absent where it was not read. */
  current: Channel | undefined
}

/** Readings this much older than the last word of touching are of another state of the part. */
const readBeforeMs = 60_000
const coverage = 2
const goodQuality = qualities.indexOf('good')

const fixture = z.object({
  senseOhm: z.number().positive(), bleederOhm: z.number().positive().optional(),
  limitOhm: z.number().positive(), busBleederOhm: z.number().positive().optional(),
})

export async function endStateOf(
  source: EndSource, position: string, result: PartResult | null,
): Promise<EndState> {
  const recoveredV = result?.figures['recoveredV'] ?? null
  const told = lastTouches(source.run, source.events).get(position) ?? unsaidOf(position)
  const { text, wallMs, event } = told
  const words = text.startsWith(`${position} `) ? text.slice(position.length + 1) : text
  const measured = /^(measured below|read below|was never on the bus, and reads below)/.test(words)
  const volts = event === null || words.includes('UNMEASURED') ? null : await lastVolts(source, event)
  return { words, measured, wallMs, volts, recoveredV }
}

/** From the current through bleeder and sense resistor; only once the part had left the bus. */
async function lastVolts({ store, run, current }: EndSource, told: StoredEvent): Promise<EndState['volts']> {
  const parsed = fixture.safeParse(run.setup['fixture'])
  if (!current || !parsed.success) return null
  const { senseOhm, bleederOhm, limitOhm, busBleederOhm } = parsed.data
  const ohm = bleederOhm ?? (busBleederOhm === undefined ? null : limitOhm + busBleederOhm)
  if (ohm === null) return null
  const { atMs, value, u, quality } = await store.series(run.id, current.index, told.atMs - readBeforeMs)
  for (let i = atMs.length - 1; i >= 0; i--) {
    if (quality[i] !== goodQuality || !Number.isFinite(value[i]) || atMs[i]! > told.atMs) continue
    return { value: -value[i]! * (ohm + senseOhm), expandedU: coverage * u[i]! * (ohm + senseOhm),
      wallMs: told.wallMs - (told.atMs - atMs[i]!) }
  }
  return null
}

/** Null where a grade is final, or where the run did not form: then nothing says when the rest began. */
export function closeWindowOf(run: RunRecord, result: PartResult | null): CloseWindow | null {
  if (!result?.provisional || run.sequence !== 'reform' || run.endedWallMs === null) return null
  return { fromWallMs: run.endedWallMs + 1000 * restLeastS, toWallMs: run.endedWallMs + 1000 * restMostS }
}

const warningList = z.array(z.string())

/** What the plan of this run said of the rest of its parts: none on record, or too long. */
export function restNotesOf(run: RunRecord): string[] {
  const plan = z.object({ warnings: warningList }).safeParse(run.setup['plan'])
  const warnings = plan.success ? plan.data.warnings : []
  return warnings.filter(text => /^(No forming on record|Rested longer)/.test(text))
}
