/**
 * One watched bound as a pure step: (state, reading, now) → state. Crossing is `>=` or `<=`, and it latches.
 */
import type { Measured, Reading } from '../schema/reading.ts'
import type { Verdict } from './verdict.ts'

export type Reaction = 'stop' | 'drop'

export interface Limit {
  /** Unique within a run, e.g. `P03.current.short`. */
  readonly id: string
  /** Name of the channel it watches. */
  readonly channel: string
  readonly side: 'above' | 'below'
  /** In the unit of the channel. */
  readonly bound: number
  /** Crossed when this many readings in a row are at or past the bound … */
  readonly samples: number
  /** … or, where given, when they have been so for this long in ms, whichever is later. */
  readonly forMs?: number
  readonly reaction: Reaction
  /** Position to drop; required where reaction is `drop`. */
  readonly position?: string
  /**
   * What a drop says of the part; condemned when left out. A crossing by readings that
   * tell nothing is always untold.
   */
  readonly verdict?: Verdict
  /**
   * An open sensor reads over-range too, as that of a case does: there it tells no more than no reading.
   */
  readonly overRangeIsBlind?: boolean
  /** What it means, as a clause: "more current than a sound part takes". */
  readonly says: string
  /** What the rest of the bench tells of this crossing, in place of `verdict` and `says`; null: nothing. */
  readonly explained?: (reading: Reading) => Explained | null
}

export interface Explained { readonly verdict: Verdict; readonly says: string }

export interface LimitState {
  readonly count: number
  readonly sinceMs: number
  readonly latched: boolean
  /** Whether one of the readings counted told nothing: open sensor, no answer, no number. */
  readonly isBlind: boolean
}
export const freshLimit: LimitState = { count: 0, sinceMs: 0, latched: false, isBlind: false }

/** A reading that is not good counts as past the bound: unknown is not safe. */
export function isPast(limit: Limit, reading: Measured): boolean {
  if (reading.quality !== 'good' || Number.isNaN(reading.value)) return true
  return limit.side === 'above' ? reading.value >= limit.bound : reading.value <= limit.bound
}

/** `isAllowed`: a reading past the bound counts, and does not cross it. */
export function stepLimit(limit: Limit, state: LimitState, reading: Measured, isAllowed = false): LimitState {
  if (state.latched) return state
  if (!isPast(limit, reading)) return state.count === 0 ? state : freshLimit
  const count = state.count + 1
  const sinceMs = state.count === 0 ? reading.atMs : state.sinceMs
  const longEnough = reading.atMs - sinceMs >= (limit.forMs ?? 0)
  return {
    count, sinceMs, latched: !isAllowed && count >= limit.samples && longEnough,
    isBlind: state.isBlind || tellsNothing(reading, limit.overRangeIsBlind === true),
  }
}

/** Over-range is no number, but mostly it tells that there is more than the range holds. */
export const tellsNothing = ({ quality, value }: Measured, overRangeIsBlind = false): boolean =>
  quality === 'over-range' ? overRangeIsBlind : quality !== 'good' || Number.isNaN(value)
