/**
 * A temperature that must move when the heat beneath it does. An open thermocouple reads the temperature of
 * the room, a sensor that came unglued follows it: neither passes a bound. Pure; °C, W, ms.
 */
import type { Machine } from './watch.ts'

export interface FollowsRules {
  /** The least and the most that a watt raises this place above the air, K/W … */
  readonly leastKPerW: number
  readonly mostKPerW: number
  /** … and the shortest and longest time constant with which it does. */
  readonly fastestMs: number
  readonly slowestMs: number
  /**
   * Past what the heat explains by this, K: well above noise and last digit, and what the air may mislead.
   */
  readonly mustShowK: number
  /** So many readings in a row. */
  readonly samples: number
}
/** Heat beneath the sensor from now on, or a good reading of the sensor with that of the air. */
export type FollowsInput = { readonly atMs: number; readonly watts: number }
  | { readonly atMs: number; readonly celsius: number; readonly airC: number }

export interface FollowsState {
  readonly atMs: number
  readonly watts: number
  /** Between these the rise over the air must be; null before the first reading. */
  readonly between: { readonly leastK: number; readonly mostK: number } | null
  readonly count: number
  readonly riseK: number
}

/**
 * The least rise comes slowly and goes fast, the most comes fast and goes slowly: a sensor in its place is
 * always between. It begins at the first reading: a unit that is warm already, or colder than the room that
 * it was carried into, is taken as it is found.
 */
export function followsMachine(rules: FollowsRules): Machine<FollowsState, FollowsInput> {
  const { mustShowK, samples } = rules
  return {
    fresh: { atMs: 0, watts: 0, between: null, count: 0, riseK: 0 },
    step: (before, input) => {
      const state = advance(rules, before, input.atMs)
      if ('watts' in input) return { ...state, watts: input.watts }
      const riseK = input.celsius - input.airC
      const between = state.between ?? startAt(rules, riseK, state.watts)
      const isPlausible = riseK > between.leastK - mustShowK && riseK < between.mostK + mustShowK
      return { ...state, between, riseK, count: isPlausible ? 0 : state.count + 1 }
    },
    says: ({ count, riseK, between }) => count < samples || between === null ? null
      : `is ${riseK.toFixed(1)} K over the air, where the heat beneath it explains `
        + `${between.leastK.toFixed(1)} to ${between.mostK.toFixed(1)} K: `
        + 'a sensor that is open, or off its place',
  }
}

const startAt = ({ leastKPerW, mostKPerW }: FollowsRules, riseK: number, watts: number) => ({
  leastK: Math.min(riseK, leastKPerW * watts), mostK: Math.max(riseK, mostKPerW * watts),
})

function advance(rules: FollowsRules, state: FollowsState, atMs: number): FollowsState {
  const { leastKPerW, mostKPerW, fastestMs, slowestMs } = rules
  const { between, watts } = state
  if (between === null) return { ...state, atMs }
  const forMs = Math.max(0, atMs - state.atMs)
  const toward = (fromK: number, endK: number, tauMs: number): number =>
    endK + (fromK - endK) * Math.exp(-forMs / tauMs)
  const [lowEndK, highEndK] = [leastKPerW * watts, mostKPerW * watts]
  return {
    ...state, atMs, between: {
      leastK: toward(between.leastK, lowEndK, lowEndK > between.leastK ? slowestMs : fastestMs),
      mostK: toward(between.mostK, highEndK, highEndK > between.mostK ? fastestMs : slowestMs),
    },
  }
}
