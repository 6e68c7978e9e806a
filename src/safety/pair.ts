/**
 * Two readings held against each other: sensors of one heat sink, a heat sink against the room, two rails
 * that mirror one another. Pure; SI units.
 */
import { flagged, isEnough, type PastFlags } from './debounce.ts'
import type { Machine } from './watch.ts'

/**
 * A good reading of one of the two. A reading that is not good is for the limits to see. What was read before
 * `sinceMs` belongs to another state of what is measured, and is not compared with this.
 */
export interface PairInput {
  readonly of: 'first' | 'second'; readonly atMs: number; readonly value: number; readonly sinceMs?: number
}
interface Seen { readonly atMs: number; readonly value: number }
export interface PairState {
  readonly first: Seen | null
  readonly second: Seen | null
  readonly flags: PastFlags
  readonly amount: number
}

export interface PairRules {
  /** What is held between the two: a difference in their unit, or a share. Null where nothing can be said. */
  readonly compare: (first: number, second: number) => number | null
  readonly low: number
  readonly high: number
  /** Trips when so many … */
  readonly samples: number
  /** … of the last so many comparisons are at or past a bound. */
  readonly of: number
  /** Readings further apart in time are not compared. */
  readonly apartMostMs: number
  readonly says: (amount: number) => string
}

export function pairMachine(rules: PairRules): Machine<PairState, PairInput> {
  const { compare, low, high, samples, of, apartMostMs, says } = rules
  return {
    fresh: { first: null, second: null, flags: [], amount: 0 },
    step: (state, { of: which, atMs, value, sinceMs = -Infinity }) => {
      const still = (seen: Seen | null): Seen | null => seen === null || seen.atMs < sinceMs ? null : seen
      const before: PairState = { ...state, first: still(state.first), second: still(state.second) }
      const next: PairState = { ...before, [which]: { atMs, value } }
      const { first, second } = next
      if (first === null || second === null || Math.abs(first.atMs - second.atMs) > apartMostMs) return next
      const amount = compare(first.value, second.value)
      const isPast = amount !== null && !(amount > low && amount < high)
      // Each reading is compared once: against an old one of the other, what rises would never agree.
      const flags = flagged(state.flags, isPast, of)
      return { first: null, second: null, amount: amount ?? state.amount, flags }
    },
    says: ({ flags, amount }) => isEnough(flags, samples) ? says(amount) : null,
  }
}

/** Of soft bounds, some of the last few count: common practice. */
const some = { samples: 3, of: 5 }

export interface DifferenceRules {
  /** What they are, for the message: "heat sink left" and "heat sink right". */
  readonly names: readonly [string, string]
  /** The first less the second stays between, K. */
  readonly lowK: number
  readonly highK: number
  readonly apartMostMs: number
}
/** Two temperatures that belong together, or one that cannot be colder than the other. */
export const temperaturesMachine = ({ names, lowK, highK, apartMostMs }: DifferenceRules) => pairMachine({
  ...some, compare: (first, second) => first - second, low: lowK, high: highK, apartMostMs,
  says: amount => `${names[0]} is ${Math.abs(amount).toFixed(1)} K ${amount < 0 ? 'colder' : 'warmer'} `
    + `than ${names[1]}; between ${lowK} and ${highK} K is plausible: `
    + 'one of the sensors is wrong or off its place',
})

export interface RailsRules {
  readonly names: readonly [string, string]
  /** Difference of their sizes, as a share of the larger, that trips. */
  readonly asymmetryMax: number
  /** Rails that are both smaller than this, in V, are not held against each other. */
  readonly floorV: number
  readonly apartMostMs: number
}
/** A rail that is lost puts DC on an output. */
export const railsMachine = ({ names, asymmetryMax, floorV, apartMostMs }: RailsRules) => pairMachine({
  ...some, low: -asymmetryMax, high: asymmetryMax, apartMostMs,
  compare: (first, second) => {
    const [a, b] = [Math.abs(first), Math.abs(second)]
    return Math.max(a, b) < floorV ? null : (a - b) / Math.max(a, b)
  },
  says: amount => `${names[0]} is ${(100 * Math.abs(amount)).toFixed(1)} % `
    + `${amount < 0 ? 'smaller' : 'larger'} than ${names[1]}, ${(100 * asymmetryMax).toFixed(1)} % at most`,
})
