/** What the supply reads at its own terminals, against what it was set to. Pure; SI units. */
import type { Machine } from './watch.ts'

export interface ReadBackInput {
  readonly atMs: number
  /** Not a number where the supply gave none: that is not where it was asked to be. */
  readonly volts: number
  readonly askedV: number
}
export interface ReadBackState {
  readonly askedV: number
  readonly count: number
  readonly sinceMs: number
  readonly offV: number
  readonly forMs: number
}

export interface ReadBackRules {
  readonly toleranceV: number
  /**
   * Off for this long: a supply falls by its own load alone, and may sag at its current limit for a while.
   */
  readonly offMs: number
}

const offSamples = 3

/** While the set-point moves nothing is judged; a supply at its current limit has a limit of its own. */
export function readBackMachine({ toleranceV, offMs }: ReadBackRules): Machine<ReadBackState, ReadBackInput> {
  const fresh: ReadBackState = { askedV: NaN, count: 0, sinceMs: 0, offV: 0, forMs: 0 }
  return {
    fresh,
    step: (state, { atMs, volts, askedV }) => {
      const offV = volts - askedV
      if (Math.abs(offV) < toleranceV || askedV !== state.askedV) return { ...fresh, askedV, sinceMs: atMs }
      const sinceMs = state.count === 0 ? atMs : state.sinceMs
      return { askedV, count: state.count + 1, sinceMs, offV, forMs: atMs - sinceMs }
    },
    says: ({ askedV, count, offV, forMs }) => count < offSamples || forMs < offMs ? null
      : `reads ${(askedV + offV).toPrecision(4)} V and was set to ${askedV.toPrecision(4)} V: `
        + 'the supply does not do what it was told, or its reading lies',
  }
}
