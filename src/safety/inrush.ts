/** What a unit takes from its mains: a bound that is higher for a while after closing. Pure; A and ms. */
import { formatSi } from '../base/format.ts'
import type { Machine } from './watch.ts'

export interface InrushRules {
  /** At or above this the unit takes too much … */
  readonly mostA: number
  /** … but for this long after closing it may take … */
  readonly inrushMs: number
  /** … up to this. */
  readonly inrushMostA: number
  /** With the mains open nothing flows: at or above this a contact is welded, or there is another path. */
  readonly openMostA: number
  /** From opening until the meter must have seen it. */
  readonly openAfterMs: number
  /** So many readings in a row past the bound that holds for them. */
  readonly samples: number
}
/** What the mains switch was seen to do, or a reading of the current; NaN for one that is not good. */
export type InrushInput = { readonly atMs: number; readonly isClosed: boolean }
  | { readonly atMs: number; readonly amps: number }
export interface InrushState {
  readonly isClosed: boolean
  readonly sinceMs: number
  readonly count: number
  readonly amps: number
  readonly boundA: number
  readonly phase: 'open' | 'inrush' | 'running'
}

/**
 * A reading is held to the bound of its own time. What is no number is past every bound: unknown is not safe.
 */
export function inrushMachine(rules: InrushRules): Machine<InrushState, InrushInput> {
  return {
    fresh: { isClosed: false, sinceMs: -Infinity, count: 0, amps: 0, boundA: rules.openMostA, phase: 'open' },
    step: (state, input) => {
      if ('isClosed' in input) {
        if (input.isClosed === state.isClosed) return state
        return { ...state, isClosed: input.isClosed, sinceMs: input.atMs, count: 0 }
      }
      const { phase, boundA } = boundAt(rules, state, input.atMs)
      const isPast = !(input.amps < boundA)
      return { ...state, phase, boundA, amps: input.amps, count: isPast ? state.count + 1 : 0 }
    },
    says: ({ count, amps, boundA, phase }) => count < rules.samples ? null
      : `takes ${Number.isNaN(amps) ? 'what cannot be read' : formatSi(amps, 'A', 4)}, `
        + `${formatSi(boundA, 'A', 4)} at most ${phaseWords[phase]}`,
  }
}

const phaseWords = {
  open: 'with the mains open', inrush: 'while its inrush may last', running: 'once its inrush is over',
} as const

function boundAt(
  rules: InrushRules, { isClosed, sinceMs }: InrushState, atMs: number,
): { phase: InrushState['phase']; boundA: number } {
  const forMs = atMs - sinceMs
  if (isClosed) {
    return forMs < rules.inrushMs ? { phase: 'inrush', boundA: rules.inrushMostA }
      : { phase: 'running', boundA: rules.mostA }
  }
  // Until the meter has had time to see the opening, what flowed before may still be in its reading.
  return forMs < rules.openAfterMs ? { phase: 'open', boundA: Math.max(rules.mostA, rules.openMostA) }
    : { phase: 'open', boundA: rules.openMostA }
}
