/**
 * One impedance in all the ways a bridge may state it, with uncertainty carried through, and open/short
 * correction. X is negative for a capacitor. D = R/|X|; Q = 1/D. What does not exist (Cs of an inductor) is
 * NaN.
 */
import { assert } from '../base/assert.ts'
import { propagateCovariance } from './uncertainty.ts'

export interface Impedance { rOhm: number; xOhm: number }
export interface Admittance { gS: number; bS: number }

/** What a bridge returned: the two names in order, their values and standard uncertainties. SI units, rad. */
export interface ImpedancePair {
  pair: PairName
  first: number
  second: number
  uFirst?: number
  uSecond?: number
  /** Correlation of the two errors; 0 by default. */
  correlation?: number
}
export type PairName = keyof typeof pairs

type Convert = (first: number, second: number, omega: number) => Impedance

const capacitive = (csF: number, rOhm: number, omega: number): Impedance =>
  ({ rOhm, xOhm: -1 / (omega * csF) })

const pairs = {
  'R-X': (rOhm, xOhm) => ({ rOhm, xOhm }),
  'Z-phase': (z, phase) => ({ rOhm: z * Math.cos(phase), xOhm: z * Math.sin(phase) }),
  'Cs-D': (c, d, w) => capacitive(c, d / (w * c), w),
  'Cs-Q': (c, q, w) => capacitive(c, 1 / (q * w * c), w),
  'Cs-ESR': (c, esr, w) => capacitive(c, esr, w),
  'Cp-D': (c, d, w) => capacitive(c * (1 + d * d), d / (w * c * (1 + d * d)), w),
  'Cp-Q': (c, q, w) => fromAdmittance({ gS: w * c / q, bS: w * c }),
  'Cp-Rp': (c, rp, w) => fromAdmittance({ gS: 1 / rp, bS: w * c }),
  'Ls-Q': (l, q, w) => ({ rOhm: w * l / q, xOhm: w * l }),
  'Ls-Rs': (l, rOhm, w) => ({ rOhm, xOhm: w * l }),
  'Lp-Q': (l, q, w) => fromAdmittance({ gS: 1 / (w * l * q), bS: -1 / (w * l) }),
  'Lp-Rp': (l, rp, w) => fromAdmittance({ gS: 1 / rp, bS: -1 / (w * l) }),
} satisfies Record<string, Convert>

export interface ImpedanceQuantities {
  rOhm: number; xOhm: number; zOhm: number; phaseRad: number
  /**
   * Series and parallel capacitance, series resistance (= R), parallel resistance, loss and quality factor.
   */
  csF: number; cpF: number; esrOhm: number; rpOhm: number; d: number; q: number
  lsH: number; lpH: number
}

/** The pair as R + jX at `frequencyHz` > 0. */
export function toImpedance({ pair, first, second }: ImpedancePair, frequencyHz: number): Impedance {
  return pairs[pair](first, second, angular(frequencyHz))
}

/** Every quantity of an impedance at `frequencyHz` > 0. */
export function describeImpedance({ rOhm, xOhm }: Impedance, frequencyHz: number): ImpedanceQuantities {
  const omega = angular(frequencyHz)
  const squared = rOhm * rOhm + xOhm * xOhm
  const isCapacitive = xOhm < 0
  const isInductive = xOhm > 0
  const d = rOhm / Math.abs(xOhm)
  return {
    rOhm, xOhm, zOhm: Math.sqrt(squared), phaseRad: Math.atan2(xOhm, rOhm),
    csF: isCapacitive ? -1 / (omega * xOhm) : NaN, cpF: isCapacitive ? -xOhm / (omega * squared) : NaN,
    esrOhm: rOhm, rpOhm: squared / rOhm, d, q: 1 / d,
    lsH: isInductive ? xOhm / omega : NaN, lpH: isInductive ? squared / (omega * xOhm) : NaN,
  }
}

export interface DescribedImpedance { value: ImpedanceQuantities; u: ImpedanceQuantities }

/**
 * Every quantity of a stated pair with its standard uncertainty (first order; NaN where the quantity is NaN
 * or not finite). The uncertainty of frequency, `uFrequencyHz`, is 0 by default.
 */
export function describePair(
  reading: ImpedancePair, frequencyHz: number, uFrequencyHz = 0,
): DescribedImpedance {
  const { pair, first, second, uFirst = 0, uSecond = 0, correlation = 0 } = reading
  assert(uFirst >= 0 && uSecond >= 0 && uFrequencyHz >= 0, 'uncertainties must be 0 or more')
  assert(Math.abs(correlation) <= 1, `a correlation lies between -1 and 1, got ${correlation}`)
  const value = describeImpedance(toImpedance(reading, frequencyHz), frequencyHz)
  const shared = correlation * uFirst * uSecond
  const covariance = [[uFirst ** 2, shared, 0], [shared, uSecond ** 2, 0], [0, 0, uFrequencyHz ** 2]]
  const names = Object.keys(value) as (keyof ImpedanceQuantities)[]
  const models = names.map(name => ([a, b, f]: number[]) =>
    describeImpedance(toImpedance({ pair, first: a!, second: b! }, f!), f!)[name])
  const u = propagateCovariance(models, [first, second, frequencyHz], covariance).u
  const stated = names.map((name, i) => [name, Number.isFinite(value[name]) ? u[i]! : NaN])
  return { value, u: Object.fromEntries(stated) as unknown as ImpedanceQuantities }
}

/** Residuals of a fixture: impedance with it shorted, admittance with it open. */
export interface Fixture { short: Impedance; open: Admittance }

/**
 * Removes a fixture's residuals: Z = (Zm - Zs)/(1 - (Zm - Zs)·Yo). Asserts that the open admittance does not
 * swallow the whole of the measured one.
 */
export function correctOpenShort(measured: Impedance, { short, open }: Fixture): Impedance {
  const r = measured.rOhm - short.rOhm
  const x = measured.xOhm - short.xOhm
  const real = 1 - (r * open.gS - x * open.bS)
  const imaginary = -(r * open.bS + x * open.gS)
  const squared = real * real + imaginary * imaginary
  assert(squared > 0, 'the part cannot be told from the open fixture')
  return { rOhm: (r * real + x * imaginary) / squared, xOhm: (x * real - r * imaginary) / squared }
}

/** What a bridge reads of a part in a fixture: the inverse of `correctOpenShort`. */
export function withOpenShort(part: Impedance, { short, open }: Fixture): Impedance {
  const y = toAdmittance(part)
  const { rOhm, xOhm } = fromAdmittance({ gS: y.gS + open.gS, bS: y.bS + open.bS })
  return { rOhm: rOhm + short.rOhm, xOhm: xOhm + short.xOhm }
}

/** Corrected impedance with u: `uMeasured`, `uShort` per part in ohm, `uOpen` in siemens, all independent. */
export function correctOpenShortWithU(
  measured: Impedance, uMeasured: Impedance, fixture: Fixture, uShort: Impedance, uOpen: Admittance,
): { value: Impedance; u: Impedance; correlation: number } {
  const { short, open } = fixture
  const inputs = [measured.rOhm, measured.xOhm, short.rOhm, short.xOhm, open.gS, open.bS]
  const u = [uMeasured.rOhm, uMeasured.xOhm, uShort.rOhm, uShort.xOhm, uOpen.gS, uOpen.bS]
  const covariance = u.map((ui, i) => u.map((_, j) => (i === j ? ui * ui : 0)))
  const at = ([rm, xm, rs, xs, g, b]: number[]): Impedance => correctOpenShort(
    { rOhm: rm!, xOhm: xm! }, { short: { rOhm: rs!, xOhm: xs! }, open: { gS: g!, bS: b! } })
  const found = propagateCovariance([x => at(x).rOhm, x => at(x).xOhm], inputs, covariance)
  const [uR, uX] = [found.u[0]!, found.u[1]!]
  return {
    value: at(inputs), u: { rOhm: uR, xOhm: uX },
    correlation: uR > 0 && uX > 0 ? found.covariance[0]![1]! / (uR * uX) : 0,
  }
}

export function toAdmittance({ rOhm, xOhm }: Impedance): Admittance {
  const squared = rOhm * rOhm + xOhm * xOhm
  return { gS: rOhm / squared, bS: -xOhm / squared }
}

export function fromAdmittance({ gS, bS }: Admittance): Impedance {
  const squared = gS * gS + bS * bS
  return { rOhm: gS / squared, xOhm: -bS / squared }
}

function angular(frequencyHz: number): number {
  assert(frequencyHz > 0 && Number.isFinite(frequencyHz), `a frequency must be above 0, got ${frequencyHz}`)
  return 2 * Math.PI * frequencyHz
}
