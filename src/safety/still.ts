/** A supply's current and a can's temperature that repeat to the bit when they must move. Pure; SI units. */
import { formatSi } from '../base/format.ts'
import type { Machine } from './watch.ts'

// ---- the supply's current against what the bus itself takes ----

export interface SupplyInput {
  readonly atMs: number
  readonly amps: number
  /** What bleeder and meter of the bus take at this time. */
  readonly busA: number
}
export interface SupplyState {
  readonly amps: number
  /** The least that the bus took while the reading repeated. */
  readonly fromA: number
  readonly movedA: number
  readonly count: number
  readonly sinceMs: number
  readonly forMs: number
}

/** So many of the supply's own steps show on every reading of it, whatever it is off by … */
const shownSteps = 5
/** … over this many readings and this time. */
const stillSamples = 3
const stillMs = 2000

/**
 * Parts add what charges them, so a rising bus takes more and never less. Exactly zero is let through: a
 * supply may read nothing below its offset.
 */
export function supplyStillMachine(stepA: number): Machine<SupplyState, SupplyInput> {
  const fresh: SupplyState = { amps: NaN, fromA: 0, movedA: 0, count: 0, sinceMs: 0, forMs: 0 }
  return {
    fresh,
    step: (state, { atMs, amps, busA }) => {
      if (amps !== state.amps || amps === 0) return { ...fresh, amps, fromA: busA }
      const fromA = Math.min(state.fromA, busA)
      const movedA = busA - fromA
      if (movedA < shownSteps * stepA) return { ...fresh, amps, fromA }
      const sinceMs = state.count === 0 ? atMs : state.sinceMs
      return { amps, fromA, movedA, count: state.count + 1, sinceMs, forMs: atMs - sinceMs }
    },
    says: ({ amps, movedA, count, forMs }) => count < stillSamples || forMs < stillMs ? null
      : `repeats ${formatSi(amps, 'A', 4)} to the bit while the bus alone came to take `
        + `${formatSi(movedA, 'A', 3)} more: the current reading of the supply is stuck`,
  }
}

// ---- a case sensor ----

export interface CaseRules {
  /** Last digit of the thermometer, and the standard deviation of its noise. */
  readonly stepK: number
  readonly noiseK: number
  /** What the can may shed. */
  readonly shedW: number
}
/** A reading of the sensor, or the power of its part. */
export type CaseInput = { readonly atMs: number; readonly celsius: number }
  | { readonly atMs: number; readonly watts: number }
export interface CaseState {
  readonly celsius: number
  readonly count: number
  readonly watts: number
  readonly wattsAtMs: number
  /** How long the part has been cold without a break, and whether that was once long enough … */
  readonly coldMs: number
  readonly isRested: boolean
  /** … and how long it has turned much to heat since then. All of it while the reading repeats. */
  readonly hotMs: number
}

const stuck = 'its thermometer is stuck'
/** Equal readings in a row, where noise alone moves the last digit most of the time. */
const noisyRepeats = 20
/**
 * A can that turns a quarter of what it may shed to heat for so long, after as long a rest, is warmer by a
 * degree at least, if it sheds the whole at 10 K and its surface is twice as large (modelling choice).
 */
const hotShare = 0.25
const coldShare = 0.02
const longMs = 20 * 60_000
/** A degree shows on digits of half of it, and finer. */
const shownStepK = 0.5

/** A coarse thermometer in a steady room stands still by right: there only heat tells. */
export function caseStillMachine({ stepK, noiseK, shedW }: CaseRules): Machine<CaseState, CaseInput> {
  const isNoisy = noiseK >= stepK
  const showsHeat = stepK <= shownStepK
  const rest = { coldMs: 0, isRested: false, hotMs: 0 }
  return {
    fresh: { celsius: NaN, count: 0, watts: NaN, wattsAtMs: NaN, ...rest },
    step: (state, input) => {
      if ('watts' in input) return heated(state, input, shedW)
      const { celsius } = input
      if (celsius === state.celsius) return { ...state, count: state.count + 1 }
      return { ...state, celsius, count: 1, ...rest }
    },
    says: ({ celsius, count, hotMs }) => {
      const stands = `repeats ${celsius.toFixed(2)} °C to the bit`
      if (isNoisy && count >= noisyRepeats) return `${stands} over ${count} readings: ${stuck}`
      if (!showsHeat || hotMs < longMs) return null
      return `${stands} while its part turned ${formatSi(hotShare * shedW, 'W', 3)} or more to heat for `
        + `${(hotMs / 60_000).toFixed(0)} min: ${stuck}`
    },
  }
}

function heated(
  state: CaseState, { atMs, watts }: { atMs: number; watts: number }, shedW: number,
): CaseState {
  const spanMs = atMs - state.wattsAtMs
  const isCold = Math.max(watts, state.watts) <= coldShare * shedW
  const isHot = Math.min(watts, state.watts) >= hotShare * shedW
  const coldMs = isCold ? state.coldMs + spanMs : 0
  return {
    ...state, watts, wattsAtMs: atMs, coldMs, isRested: state.isRested || coldMs >= longMs,
    hotMs: isHot && state.isRested ? state.hotMs + spanMs : 0,
  }
}
