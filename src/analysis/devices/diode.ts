/** Junction diodes: I = Is·(exp((V - I·Rs)/(n·VT)) - 1). A, V, ohm, °C. */
import { assert } from '../../base/assert.ts'
import { fitLinear } from '../linear-fit.ts'
import { allPositive, assertNumbers, assertSameLength } from '../inputs.ts'

/** k/q in V/K, exact in the SI of 2019. */
const boltzmannOverCharge = 1.380649e-23 / 1.602176634e-19

/** VT = kT/q in V. Asserts a temperature above absolute zero. */
export function thermalVoltageV(tempC: number): number {
  assert(tempC > -273.15, `a temperature above absolute zero is needed, got ${tempC}`)
  return boltzmannOverCharge * (tempC + 273.15)
}

export interface DiodeFit {
  /** Ideality n, its standard error, and the same of the series resistance in ohm. */
  n: number
  uN: number
  rsOhm: number
  uRsOhm: number
  isA: number
  /** Root mean square of the residuals, in V (over degrees of freedom). */
  residualV: number
}

export type DiodeFitResult =
  ({ ok: true } & DiodeFit) | { ok: false; reason: 'too few points' | 'no junction' }

/** Where the least current is this many times Is, the 1 in the law is nothing. */
const farAbove = 1000

/**
 * Fits n, Rs and Is to forward points by least squares in V, where the law is linear: V = n·VT·ln(I + Is) +
 * Rs·I + c, with Is carried from fit to fit where currents come near it. Asserts finite, equally long arrays
 * and currents above 0. ok:false below four points or four currents that differ, or where n comes out at 0
 * or below.
 */
export function fitDiode(
  currentsA: ArrayLike<number>, voltsV: ArrayLike<number>, tempC: number,
): DiodeFitResult {
  assertNumbers(voltsV, 'voltsV')
  assertSameLength(currentsA, voltsV, 'currentsA and voltsV')
  assert(allPositive(currentsA), 'forward currents must be above 0')
  if (currentsA.length < 4) return { ok: false, reason: 'too few points' }
  const least = Math.min(...Array.from(currentsA))
  const vt = thermalVoltageV(tempC)
  let isA = 0
  for (let pass = 0; ; pass++) {
    const logs = Float64Array.from(currentsA, i => Math.log(i + isA))
    const fit = fitLinear({ columns: [logs, currentsA], y: voltsV })
    if (!fit.ok) return { ok: false, reason: 'too few points' }
    const [c, a, rsOhm] = fit.coefficients as [number, number, number]
    if (!(a > 0)) return { ok: false, reason: 'no junction' }
    const next = Math.exp(-c / a)
    if (pass >= 50 || least > farAbove * next || Math.abs(next - isA) < 1e-9 * next) {
      const [, uA, uRsOhm] = fit.standardErrors as [number, number, number]
      return { ok: true, n: a / vt, uN: uA / vt, rsOhm, uRsOhm, isA: next, residualV: fit.residualSd }
    }
    isA = next
  }
}

/**
 * n and Is from two forward points, series resistance neglected. Asserts currents above 0 and voltages, the
 * second greater in both.
 */
export function diodeThrough(
  [firstA, firstV]: [currentA: number, voltsV: number], [secondA, secondV]: [number, number], tempC: number,
): { n: number; isA: number } {
  assert(firstA > 0 && secondA > firstA && secondV > firstV, 'the second point must have more of both')
  const nVt = (secondV - firstV) / Math.log(secondA / firstA)
  return { n: nVt / thermalVoltageV(tempC), isA: firstA * Math.exp(-firstV / nVt) }
}

/**
 * Dynamic resistance of a zener, ohm, from two points near its test current. Asserts currents that differ.
 */
export function zenerOhm(firstA: number, firstV: number, secondA: number, secondV: number): number {
  assert(firstA !== secondA, 'two currents that differ are needed')
  return (secondV - firstV) / (secondA - firstA)
}

/**
 * Temperature coefficient of a voltage, share per K, against its first value. Asserts temperatures that
 * differ.
 */
export function voltageCoefficientPerK(
  firstC: number, firstV: number, secondC: number, secondV: number,
): number {
  assert(firstC !== secondC && firstV !== 0, 'two temperatures that differ and a first voltage are needed')
  return (secondV - firstV) / firstV / (secondC - firstC)
}

/**
 * Temperature of a junction, °C, from its forward voltage at one small current, cold and now; the slope is
 * that of the part, -2 mV/K where it is not known (common practice; silicon has -1.7 to -2.3).
 */
export function junctionC(coldC: number, coldV: number, nowV: number, slopeVPerK = -0.002): number {
  assert(slopeVPerK < 0, 'the slope of a forward voltage is below 0')
  return coldC + (nowV - coldV) / slopeVPerK
}
