/**
 * From the readings of a formal leakage measurement: what flowed at the formal instant, and what it is at
 * target.
 */
import { valueAt } from '../analysis/end-value.ts'
import { combineUncertainty, uRectangular } from '../analysis/uncertainty.ts'
import type { Measured } from '../schema/reading.ts'

export interface Known extends Measured {
  /** Degrees of freedom of `u`. */
  readonly dof: number
}

/**
 * Current at `atMs` (monotonic) from `good` readings in order of time. The meter and the sense resistor err
 * alike in all of them, so their share of the uncertainty is the last reading's; scatter and trend come on
 * top.
 */
export function leakageAt(readings: readonly Measured[], atMs: number): Known {
  const last = readings[readings.length - 1]!
  const timesS = readings.map(reading => (reading.atMs - atMs) / 1000)
  const seen = valueAt(timesS, readings.map(({ value }) => value), 0)
  const { u, dof } = combineUncertainty([
    { label: 'meter and sense resistor', u: last.u },
    { label: 'scatter and trend', u: seen.u, dof: seen.dof },
  ])
  return { value: seen.value, u, dof, quality: 'good', atMs }
}

/**
 * Leakage goes with a power of the voltage: 1 for a plain resistance, 4 for sound oxide, and more as the can
 * warms. Anything between is taken as equally likely (modelling choice, docs/truth-study.md; oxide that is
 * still forming is steeper by far, and this does not cover it).
 */
const voltageExponent = { middle: 3.25, halfWidth: 2.25 } as const

/**
 * The low resistor and the sense resistor keep a little of the target from the part, and the supply sets the
 * bus a little wrong: the leakage is carried from the volts that the part stood at to `targetV`, with an
 * exponent that is known only roughly, and its uncertainty says so.
 */
export function leakageAtTarget(seen: Known, volts: { value: number; u: number }, targetV: number): Known {
  const short = (targetV - volts.value) / targetV
  const { middle, halfWidth } = voltageExponent
  const { u, dof } = combineUncertainty([
    { label: 'current', u: seen.u, dof: seen.dof, sensitivity: 1 + middle * short },
    { label: 'voltage exponent', u: uRectangular(halfWidth), sensitivity: seen.value * short },
    { label: 'volts of the part', u: volts.u, sensitivity: middle * seen.value / targetV },
  ])
  return { ...seen, value: seen.value * (1 + middle * short), u, dof }
}
