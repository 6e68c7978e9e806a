/** When an instrument was calibrated, until when that is to count, and what may be said of it on a day. */
import { z } from 'zod'
import { formatWall } from '../base/format.ts'

const aDay = 'a day like 2026-11-30'
const day = z.string().regex(/^\d{4}-\d{2}-\d{2}$/, { message: aDay, abort: true }).refine(isDay, aDay)

export const calibrated = z.strictObject({
  on: day.describe('The day of its calibration, YYYY-MM-DD'),
  due: day.describe('The last day on which that counts'),
  certificate: z.string().min(1).max(200).optional().describe('Number of its certificate, and whose it is'),
}).refine(({ on, due }) => due > on, { path: ['due'], message: 'a day after `on`' })
export type Calibrated = z.infer<typeof calibrated>

export const calibrationStates = ['in date', 'past due', 'unknown'] as const
export type CalibrationState = (typeof calibrationStates)[number]

/** What a plan says of the instruments that measure. */
export const calibrationTold = z.strictObject({
  /** A sentence each. */
  pastDue: z.array(z.string()),
  /** Names of those whose dates nobody entered. */
  unknown: z.array(z.string()),
})
export type CalibrationTold = z.infer<typeof calibrationTold>

/** On the day that `wallMs` is in this computer's local time; the day it is due still counts. */
export function calibrationState(given: Calibrated | null, wallMs: number): CalibrationState {
  if (given === null) return 'unknown'
  return dayOf(wallMs) > given.due ? 'past due' : 'in date'
}

/** `2026-01-05 to 2027-01-05, certificate K-117; PAST DUE`, `not entered`. */
export function calibrationWords(given: Calibrated | null, wallMs: number): string {
  if (given === null) return 'not entered'
  const { on, due, certificate } = given
  const by = certificate === undefined ? '' : `, certificate ${certificate}`
  return `${on} to ${due}${by}${calibrationState(given, wallMs) === 'past due' ? '; PAST DUE' : ''}`
}

/** No 30th of February. */
function isDay(text: string): boolean {
  const at = new Date(`${text}T00:00:00Z`)
  return !Number.isNaN(at.getTime()) && at.toISOString().startsWith(text)
}

const dayOf = (wallMs: number): string => formatWall(wallMs).slice(0, 10)
