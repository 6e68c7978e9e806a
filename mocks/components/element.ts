/**
 * What a part is made of: elements between numbered nodes. At DC each is linearised about the volts of the
 * last round of a solution (Newton); small signals see its admittance at zero bias. Pure, SI units.
 */

/**
 * What surrounds a measurement: room temperature, and how long the volts have stood. With `stepS` it is one
 * step through time, from what capacitors hold.
 */
export interface Conditions { readonly celsius: number; readonly afterS: number; readonly stepS?: number }

export type Slope = readonly [node: number, siemens: number]

/** Where an element puts its linearised currents: J·v + f is the current that leaves each node. */
export interface DcStamp {
  /** Current from `from` to `to` is `amps` at the volts of this round, with these slopes by node. */
  current(from: number, to: number, amps: number, slopes: readonly Slope[]): void
}

/** Where an element puts its admittance between two nodes. */
export interface AcStamp {
  admittance(from: number, to: number, re: number, im: number): void
  /** Current into `from` and out of `to` for volts between two other nodes. */
  transfer(from: number, to: number, plus: number, minus: number, re: number, im: number): void
}

export interface Element {
  readonly nodes: readonly number[]
  /** Numbers that it keeps from round to round of one solution: volts it was linearised at. */
  readonly states: number
  /**
   * `volts` by node; `state` is its own. Answers whether it was linearised at those volts: false while a step
   * was cut short.
   */
  dc(volts: Float64Array, state: Float64Array, stamp: DcStamp, conditions: Conditions): boolean
  ac(omega: number, stamp: AcStamp, conditions: Conditions): void
  /** Takes over, at the end of a step through time, what it holds; `volts` by node. */
  settle?(volts: readonly number[], stepS: number): void
}

export const boltzmannVK = 8.617333e-5
export const kelvin = (celsius: number): number => celsius + 273.15
/** kT/q, V. */
export const thermalV = (celsius: number): number => boltzmannVK * kelvin(celsius)
export const referenceC = 25

/**
 * The volts at which an exponential is linearised next: `wanted` where that is no great step, and otherwise
 * as far as its current may grow. `scale` is the volts of one e-fold, `critical` where it bends most.
 */
export function limitedStep(wanted: number, last: number, scale: number, critical: number): number {
  if (wanted <= critical || Math.abs(wanted - last) <= 2 * scale) return wanted
  if (last <= 0) return scale * Math.log(Math.max(wanted / scale, 1))
  const grown = 1 + (wanted - last) / scale
  return grown > 0 ? last + scale * Math.log(grown) : critical
}

export const criticalOf = (scale: number, saturationA: number): number => Math.max(0,
  scale * Math.log(scale / (Math.SQRT2 * saturationA)))
