/** Platinum resistance thermometers: the curve of IEC 60751 (coefficients read through secondary sources). */
import { assert } from '../../base/assert.ts'
import { bisect } from '../distributions.ts'

const a = 3.9083e-3
const b = -5.775e-7
const c = -4.183e-12

/** Resistance in ohm at -200 to 850 °C; `r0` at 0 °C, 100 for a Pt100. Asserts the range. */
export function platinumOhm(tempC: number, r0 = 100): number {
  assert(tempC >= -200 && tempC <= 850, `the platinum curve is defined from -200 to 850 °C, got ${tempC}`)
  const below = tempC < 0 ? c * (tempC - 100) * tempC ** 3 : 0
  return r0 * (1 + a * tempC + b * tempC ** 2 + below)
}

/** Temperature in °C from a resistance in ohm; undefined outside -200 to 850 °C. */
export function platinumC(ohm: number, r0 = 100): number | undefined {
  if (!(ohm >= platinumOhm(-200, r0) && ohm <= platinumOhm(850, r0))) return undefined
  if (ohm < r0) return bisect(t => platinumOhm(t, r0) - ohm, -200, 0)
  return (-a + Math.sqrt(a * a - 4 * b * (1 - ohm / r0))) / (2 * b)
}

const tolerances = {
  AA: { fixed: 0.1, slope: 0.0017 }, A: { fixed: 0.15, slope: 0.002 },
  B: { fixed: 0.3, slope: 0.005 }, C: { fixed: 0.6, slope: 0.01 },
}

/** Permissible error in K of class AA, A, B or C at `tempC` (from memory of the same standard). */
export function platinumToleranceK(grade: keyof typeof tolerances, tempC: number): number {
  const { fixed, slope } = tolerances[grade]
  return fixed + slope * Math.abs(tempC)
}
