/** Limits that a parts list itself states of transistors, and how they are said. Magnitudes in SI units. */
import { z } from 'zod'
import { formatSi } from '../base/format.ts'

const positive = z.number().positive().optional()

export const statedLimit = z.strictObject({
  of: z.enum(['gain', 'drain current', 'cut-off voltage', 'threshold voltage']),
  low: positive, high: positive,
  currentA: positive.describe('At which it is to be measured, where the list says so'),
  voltageV: positive.describe('At which it is to be measured, where the list says so'),
}).refine(({ low, high }) => low !== undefined || high !== undefined, 'a lower limit, an upper one, or both')
  .refine(({ low, high }) => low === undefined || high === undefined || low < high,
    'the lower limit below the upper one')
export type StatedLimit = z.infer<typeof statedLimit>

const unitOf = { gain: '', 'drain current': 'A', 'cut-off voltage': 'V', 'threshold voltage': 'V' } as const

/** `gain 110 to 220 at 2.00 mA`, `drain current at least 2.00 mA`. */
export function limitWords({ of, low, high, currentA, voltageV }: StatedLimit): string {
  const shown = (value: number): string =>
    unitOf[of] === '' ? String(Number(value.toPrecision(4))) : formatSi(value, unitOf[of])
  const bounds = low === undefined ? `at most ${shown(high!)}`
    : high === undefined ? `at least ${shown(low)}` : `${shown(low)} to ${shown(high)}`
  const at = [
    ...currentA === undefined ? [] : [formatSi(currentA, 'A')],
    ...voltageV === undefined ? [] : [formatSi(voltageV, 'V')],
  ]
  return `${of} ${bounds}${at.length > 0 ? ` at ${at.join(' and ')}` : ''}`
}
