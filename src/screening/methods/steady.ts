/**
 * Whether a reading lies still. A tired contact, a cold joint or a wiper is never twice the same: what
 * moves by more than the instrument can explain is told apart from a value. What moves by less cannot be
 * told, and does not count.
 */
import type { Measured } from '../../schema/reading.ts'

/** Readings one after the other. */
export const steadyReadings = 4
/**
 * Four readings of a sound part range over more than this many standard uncertainties once in ten
 * thousand parts.
 */
const movedFactor = 6

export interface Steady {
  /** Mean of the readings; their uncertainty is that of one, since they share its errors. */
  readonly value: number
  readonly u: number
  /** From the lowest to the highest. */
  readonly moved: number
  readonly isSteady: boolean
  readonly quality: Measured['quality']
}

/** Pure: what several readings say together. The first that is no number decides. */
export function steadyOf(readings: readonly Measured[]): Steady {
  const bad = readings.find(({ quality }) => quality !== 'good')
  if (bad || readings.length === 0) {
    return { value: NaN, u: NaN, moved: NaN, isSteady: false, quality: bad?.quality ?? 'missing' }
  }
  const values = readings.map(({ value }) => value)
  const moved = Math.max(...values) - Math.min(...values)
  const u = Math.max(...readings.map(reading => reading.u))
  const value = values.reduce((sum, one) => sum + one, 0) / values.length
  return {
    value,
    u: Math.hypot(u, moved / Math.sqrt(12)),
    moved,
    isSteady: !(moved > movedFactor * u),
    quality: 'good',
  }
}

export async function readSteady(read: () => Promise<Measured>): Promise<Steady> {
  const readings: Measured[] = []
  for (let i = 0; i < steadyReadings; i++) readings.push(await read())
  return steadyOf(readings)
}
