/** Rate of rise: a value that rises further within a window than it was asked to. Pure. */
import type { Machine } from './watch.ts'

export interface RiseInput {
  readonly atMs: number
  readonly value: number
  /**
   * What the value was asked to be at this time, in its unit; the lowest possible value where nothing asks.
   */
  readonly asked: number
}

export interface RiseRules {
  /** Compared with the oldest reading of the last `windowMs`. */
  readonly windowMs: number
  /** Rise beyond what was asked for, in the unit of the value, that trips … */
  readonly margin: number
  /** … when this many readings in a row show it. */
  readonly samples: number
  readonly unit: string
}

export interface RiseState {
  readonly kept: readonly RiseInput[]
  readonly count: number
  readonly risen: number
  readonly overMs: number
}

/** Readings closer together than this share of the window are not all kept. */
const keptShare = 1 / 20

/**
 * What lagged behind what was asked for may catch up at any rate: a supply that charges parts at its
 * current limit does. So a rise counts from where the value stood, or from where it should have
 * stood, whichever was higher.
 */
export function riseMachine({ windowMs, margin, samples, unit }: RiseRules): Machine<RiseState, RiseInput> {
  return {
    fresh: { kept: [], count: 0, risen: 0, overMs: 0 },
    step: (state, input) => {
      const kept = state.kept.filter(({ atMs }) => input.atMs - atMs <= windowMs)
      const oldest = kept[0]
      const newest = kept[kept.length - 1]
      if (newest === undefined || input.atMs - newest.atMs >= keptShare * windowMs) kept.push(input)
      if (oldest === undefined) return { kept, count: 0, risen: 0, overMs: 0 }
      const risen =
        input.value - Math.max(oldest.value, oldest.asked) - Math.max(0, input.asked - oldest.asked)
      return { kept, count: risen >= margin ? state.count + 1 : 0, risen, overMs: input.atMs - oldest.atMs }
    },
    says: ({ count, risen, overMs }) => count < samples ? null
      : `rose ${risen.toPrecision(3)} ${unit} more than was asked for `
        + `within ${(overMs / 1000).toFixed(1)} s, ${margin.toPrecision(3)} ${unit} at most`,
  }
}

export interface HeatingRules {
  readonly riseMaxKPerMin: number
  /** Random part of a reading's u, K, and the time between readings. */
  readonly noiseK: number
  readonly everyMs: number
}

const minuteMs = 60_000
/** The window is as long as it takes for noise to be this much less than the rise that trips. */
const noiseMargin = 10

/** Rate of rise of a temperature, which nothing asks to be anywhere. */
export function heatingMachine(
  { riseMaxKPerMin, noiseK, everyMs }: HeatingRules,
): Machine<RiseState, { readonly atMs: number; readonly celsius: number }> {
  const windowMs = Math.max(minuteMs, noiseMargin * noiseK / riseMaxKPerMin * minuteMs, 4 * everyMs)
  const margin = riseMaxKPerMin * windowMs / minuteMs
  const machine = riseMachine({ windowMs, margin, samples: 2, unit: 'K' })
  return {
    fresh: machine.fresh,
    step: (state, { atMs, celsius }) => machine.step(state, { atMs, value: celsius, asked: nothingAsked }),
    says: ({ count, risen, overMs }) => count < 2 ? null
      : `rose ${risen.toPrecision(3)} K within ${(overMs / 1000).toFixed(0)} s, `
        + `${margin.toPrecision(3)} K at most`,
  }
}

/** Colder than anything can be. */
const nothingAsked = -300
