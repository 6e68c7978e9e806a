/**
 * Rows are what this program wrote, or somebody changed them: then reading fails in words, and no reader has
 * to cope with what no type allows. The tables hold the kinds of columns; this holds what is within.
 */
import { z } from 'zod'
import { parseWith } from '../schema/read-file.ts'
import { quantities, type Quantity, type Unit } from '../schema/reading.ts'
import {
  dispositions, grades, runStates, severities, upTo,
  type PartResult, type RunEvent, type RunState, type Severity,
} from '../schema/run.ts'
import { unitFindings } from '../schema/unit-findings.ts'

/** Not a number and infinity are kept. */
const anyNumber = z.custom<number>(value => typeof value === 'number', 'a number')

const storedResult = z.looseObject({
  of: z.literal('position').optional(),
  position: z.string(), part: z.string(), profile: z.string(), grade: z.enum(grades),
  provisional: z.boolean(), upTo: upTo.optional(), disposition: z.enum(dispositions), pConform: anyNumber,
  reason: z.string(),
  criteria: z.array(z.looseObject({
    name: z.string(), value: anyNumber, unit: z.string(), expandedU: anyNumber,
    limitLow: anyNumber.optional(), limitHigh: anyNumber.optional(), guardBand: anyNumber,
    pConform: anyNumber, grade: z.enum(grades),
    source: z.string(),
  })),
  figures: z.record(z.string(), anyNumber), unit: unitFindings.optional(),
})
const storedData = z.record(z.string(), z.union([z.string(), anyNumber, z.boolean(), z.null()]))
const storedSetup = z.record(z.string(), z.unknown())

export function believedResult(value: unknown): PartResult {
  hold(storedResult, value, 'a result')
  return value as PartResult
}

export function believedData(value: unknown): NonNullable<RunEvent['data']> {
  hold(storedData, value, 'what goes with an event')
  return value as NonNullable<RunEvent['data']>
}

export function believedSetup(value: unknown): Record<string, unknown> {
  hold(storedSetup, value, 'the setup of a run')
  return value as Record<string, unknown>
}

export const believedState = (state: string): RunState => oneOf(runStates, state, 'the state of a run')
export const believedSeverity = (severity: string): Severity => oneOf(severities, severity, 'a severity')

/** Ms since 1970 that are a time at all (ECMA-262, time values). */
export function believedWall(wallMs: number): number {
  if (Math.abs(wallMs) <= 8.64e15) return wallMs
  throw changed('a time', String(wallMs))
}

export function believedQuantity(quantity: string, unit: string): { quantity: Quantity; unit: Unit } {
  if (Object.hasOwn(quantities, quantity) && quantities[quantity as Quantity] === unit) {
    return { quantity: quantity as Quantity, unit: unit as Unit }
  }
  throw changed('quantity and unit of a channel', `${quantity} in ${unit}`)
}

function oneOf<T extends string>(known: readonly T[], word: string, what: string): T {
  const found = known.find(candidate => candidate === word)
  if (found === undefined) throw changed(what, word)
  return found
}

/** The value itself goes on, not a copy. */
function hold(shape: z.ZodType, value: unknown, what: string): void {
  const parsed = parseWith(shape, value, { file: 'record' })
  if (parsed.ok) return
  const { path, expected, got } = parsed.problems[0]!
  throw changed(what, `${path === '' ? '' : `${path}: `}${got} where ${expected} belongs`)
}

const changed = (what: string, got: string): Error =>
  new Error(`${what} is not what was written: ${got.slice(0, 200)}`)
