/**
 * What the discharge of a test part tells of its bleeder and of the watch relay. Pure; SI units; discharge
 * currents are positive here.
 */
import type { PositionState } from '../engine/position.ts'
import type { Check, Seen } from './bench-check-judge.ts'
import { judge, shown, shownU } from './bench-check-judge.ts'

export interface Discharge {
  /** What the part stood at when it was released. */
  stood: { value: number; u: number }
  /** Its relay moved between these, monotonic ms. */
  fromMs: number
  byMs: number
  readings: readonly Seen[]
}

/** A discharge path as it was measured: bleeder and sense resistor. */
export interface Bleeder {
  ohm: number
  u: number
  tauS: number
  /** What the part stood at, volts, and when its discharge began, monotonic ms. */
  stoodV: number
  startMs: number
}

/** Random part of a current reading: a fifth of its uncertainty at least, as when forming is judged. */
const noiseShare = 0.2
/** Contact is seen from this share of what the smallest part within tolerance sends (modelling choice). */
const contactShare = 0.2
/**
 * The watch relay closed again: this share of what the bleeder then takes (modelling
 * choice); open it is a hundredth.
 */
const backShare = 0.5

/**
 * Slope gives the time constant, extrapolation to the release gives V0/I0. Least squares of ln I against
 * time; null where fewer than two readings show a current. `u` holds both meters, scatter, and that the
 * instant of release is not known.
 */
export function bleederOf({ stood, fromMs, byMs, readings }: Discharge): Bleeder | null {
  const startMs = (fromMs + byMs) / 2
  const seen = readings.filter(({ value, u }) => value > shownU * u)
  if (seen.length < 2) return null
  const t = seen.map(({ atMs }) => (atMs - startMs) / 1000)
  const y = seen.map(({ value }) => Math.log(value))
  const n = t.length
  const meanT = t.reduce((sum, each) => sum + each, 0) / n
  const meanY = y.reduce((sum, each) => sum + each, 0) / n
  const sxx = t.reduce((sum, each) => sum + (each - meanT) ** 2, 0)
  const slope = t.reduce((sum, each, i) => sum + (each - meanT) * (y[i]! - meanY), 0) / sxx
  const logA = meanY - slope * meanT
  const restSquares = y.reduce((sum, each, i) => sum + (each - logA - slope * t[i]!) ** 2, 0)
  const scatter = n < 3 ? 0 : Math.sqrt(restSquares / (n - 2))
  const meter = Math.max(...seen.map(({ value, u }) => u / value))
  const random = Math.max(scatter, noiseShare * meter) * Math.sqrt(1 / n + meanT ** 2 / sxx)
  const instant = Math.max(0, -slope) * (byMs - fromMs) / 2000 / Math.sqrt(3)
  const ohm = stood.value / Math.exp(logA)
  return {
    ohm, u: ohm * Math.hypot(meter, random, instant, stood.u / stood.value),
    tauS: slope < 0 ? -1 / slope : Infinity, stoodV: stood.value, startMs,
  }
}

/** Volts on a part that discharges over its bleeder since its release. */
export const leftV = ({ stoodV, startMs, tauS }: Bleeder, atMs: number): number =>
  stoodV * Math.exp(-(atMs - startMs) / 1000 / tauS)

/** Relay closed before, open now, and a way back: some discharge is seen. Null where it would not be. */
export function contactCheck(
  position: PositionState, { stood, byMs, readings }: Discharge, pathOhm: number,
): Check | null {
  const { capacitanceF, toleranceMinus } = position.profile
  const first = readings[0]
  if (first === undefined) return null
  const elapsedMs = first.atMs - byMs
  const tauMs = 1000 * pathOhm * capacitanceF * (1 - toleranceMinus)
  const leastA = contactShare * (stood.value / pathOhm) * Math.exp(-elapsedMs / tauMs)
  if (leastA < shownU * first.u) return null
  const source =
    `what a part at ${stood.value.toFixed(1)} V sends ${elapsedMs.toFixed(0)} ms after its release`
  return {
    position, what: 'relay and bleeder', criterion: judge('contact', first, 'A', { low: leastA }, source),
  }
}

/** Without the sense resistor, against the bench file. A discharge too short to be followed fails. */
export function bleederCheck(
  position: PositionState, bleeder: Bleeder | null,
  { ohm, senseOhm, share }: { ohm: number; senseOhm: number; share: number },
): Check {
  const seen = bleeder === null ? { value: 0, u: 0 } : { value: bleeder.ohm - senseOhm, u: bleeder.u }
  return {
    position, what: 'bleeder value',
    criterion: judge('bench', seen, 'Ω', { low: ohm * (1 - share), high: ohm * (1 + share) },
      bleeder === null ? `${shown(ohm)} of the bench file; the current was gone after one reading`
        : `${shown(ohm)} of the bench file, ± ${100 * share} %, and ${shown(seen.value)} was measured`),
  }
}

/** When the bleeder opened onto the watch resistance and closed again, monotonic ms. */
export interface Watched { openMs: number; closeMs: number; watchOhm: number }

/** The current falls by (Rb + Rw) / Rb. */
export function watchOpensCheck(
  position: PositionState, bleeder: Bleeder, { openMs, watchOhm }: Pick<Watched, 'openMs' | 'watchOhm'>,
  seen: Seen, share: number,
): Check {
  const expectedA = leftV(bleeder, openMs) / (bleeder.ohm + watchOhm)
  const { value, u } = seen
  return {
    position, what: 'watch relay opens the bleeder',
    criterion: judge('contact', { value, u: Math.hypot(u, expectedA * bleeder.u / bleeder.ohm) }, 'A',
      { low: expectedA * (1 - share), high: expectedA * (1 + share) },
      `${(1e6 * expectedA).toPrecision(3)} µA through bleeder and ${shown(watchOhm)}, ± ${100 * share} %`),
  }
}

/** And it comes back: what was left, over the bleeder alone. */
export function watchClosesCheck(
  position: PositionState, bleeder: Bleeder, watched: Watched, seen: Seen,
): Check {
  const { openMs, closeMs, watchOhm } = watched
  const slowS = bleeder.tauS * (bleeder.ohm + watchOhm) / bleeder.ohm
  const atCloseV = leftV(bleeder, openMs) * Math.exp(-(closeMs - openMs) / 1000 / slowS)
  const expectedA = atCloseV / bleeder.ohm * Math.exp(-(seen.atMs - closeMs) / 1000 / bleeder.tauS)
  return {
    position, what: 'watch relay closes it again',
    criterion: judge('contact', seen, 'A', { low: backShare * expectedA },
      `half of ${(1e6 * expectedA).toPrecision(3)} µA at least, over the bleeder alone`),
  }
}
