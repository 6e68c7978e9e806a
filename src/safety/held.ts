/**
 * What one position is known to hold, from first sight to proof of dead: a small machine without side
 * effects. Its words are the touch state that screens and records show. Volts that nothing showed to leave
 * are never forgotten but by a proof of dead.
 */
import type { Deadness } from './dead.ts'

export interface Held {
  /**
   * `unread`: nobody looked yet. `read-low`: its volts were low while arming. `on-bus`. `leaving`: off the
   * bus, on its bleeder, not measured yet. `unmeasured`: looked at, and the reading shows nothing. `live`:
   * measured, and still charged. `dead`: proved.
   */
  readonly state: 'unread' | 'read-low' | 'on-bus' | 'leaving' | 'unmeasured' | 'live' | 'dead'
  /**
   * Volts it is taken to hold because nothing showed that they left, or that were read; null where nothing
   * tells.
   */
  readonly presumedV: number | null
  /**
   * The charge it held came back since it was last on the bus: it is known to be empty below touch-safe too.
   */
  readonly emptied: boolean
  /** Words about touching it. */
  readonly words: string
}

const unmeasuredWords = 'NOT SAFE TO TOUCH: UNMEASURED'

export const unread: Held = { state: 'unread', presumedV: null, emptied: false, words: unmeasuredWords }

/** Read below `belowV` while arming; what was on the bus before is not proved dead by that. */
export const readLow = (held: Held, belowV: number): Held => held.state !== 'unread' ? held : {
  ...held, state: 'read-low', words: `read below ${belowV} V while arming; prove dead before touching`,
}

export const connected = (held: Held): Held =>
  ({ state: 'on-bus', presumedV: held.presumedV, emptied: false, words: 'NOT SAFE TO TOUCH: ON THE BUS' })

/** Its relay was told to let go; only what was on the bus can leave it. */
export const left = (held: Held): Held =>
  held.state === 'on-bus' ? { ...held, state: 'leaving', words: unmeasuredWords } : held

/** Found at a start, after nobody knows how long: the most that it may hold is what its bus had, volts. */
export const found = (mostV: number): Held => ({ ...unread, state: 'leaving', presumedV: mostV })

/**
 * Followed down. `stoodV`: what it stood at when that began, volts, null when unknown; `emptied`: that charge
 * was seen to come back.
 */
export function followed(held: Held, deadness: Deadness, stoodV: number | null, emptied: boolean): Held {
  const presumedV = deadness.verdict === 'dead' ? null
    : deadness.verdict === 'live' ? Math.abs(deadness.volts) : stoodV
  return { state: deadness.verdict, presumedV, emptied: held.emptied || emptied, words: deadness.text }
}

/** Its discharge was measured by other means, and was that of its bleeder. */
export const seenToLeave = (held: Held): Held => ({ ...held, emptied: true })

/** Absorption brought charge back on its bleeder: that too must be seen to leave. */
export const cameBack = (held: Held): Held => ({ ...held, emptied: false })

/** As a record tells it: what was found when it was followed down, volts presumed then, words said. */
export const recalled = (
  held: Held, state: 'dead' | 'live' | 'unmeasured', presumedV: number | null, words: string,
): Held => ({ ...held, state, presumedV: state === 'dead' ? null : presumedV, words })

/** Whether it may have been left charged: then a person proves it dead by hand before anything starts. */
export function isOpen({ state, presumedV }: Held, touchSafeV: number): boolean {
  switch (state) {
    case 'unread': case 'read-low': case 'dead': return false
    case 'unmeasured': return presumedV === null || presumedV >= touchSafeV
    case 'on-bus': case 'leaving': case 'live': return true
  }
}

/** Whether its volts are known to be low: nothing else may meet the bridge, or be called so. */
export const isKnownLow = ({ state }: Held): boolean => state === 'dead' || state === 'read-low'

/** Whether it was on the bus, or found, and nothing has proved it dead since. */
export const mayBeCharged = ({ state }: Held): boolean => !['unread', 'read-low', 'dead'].includes(state)
