/**
 * Charging current told from leakage, for a part behind a series resistor on a bus of known voltage, and the
 * charge that went in. V(part) = V(bus) - I·R, so the charging current is C·dV(part)/dt and what is left is
 * leakage: I(leak) = I + C·R·dI/dt - C·dV(bus)/dt. Charging current here includes none of the part's
 * absorption.
 */
import { assert } from '../base/assert.ts'
import { normalQuantile } from './distributions.ts'
import { allFinite, allPositive, assertAscending, assertNumbers, assertSameLength } from './inputs.ts'

export interface CurrentSeries {
  /** Seconds, rising strictly. */
  tS: ArrayLike<number>
  /** Current into the part, in A. */
  iA: ArrayLike<number>
  /** Standard uncertainty of the random part of each reading, in A, above 0. */
  uA: ArrayLike<number>
}

export interface ChargingPath {
  capacitanceF: number
  uCapacitanceF: number
  /** Limiting resistor plus sense resistor, in ohm. */
  seriesOhm: number
  uSeriesOhm: number
  /** Rate of the bus voltage while the readings were taken; 0 for a bus that stands still. */
  busSlopeVPerS?: number
  uBusSlopeVPerS?: number
}

export type LeakageSplit =
  | {
    ok: true
    /** Means over the window, in A: leakage with its standard uncertainty, and the two parts' sum. */
    leakageA: number; uLeakageA: number; chargingA: number; currentA: number
  }
  | { ok: false; reason: 'too few readings' | 'not a number' }

const fewestReadings = 3

/**
 * Mean leakage over the window of the readings: mean current plus R·C·(last - first)/T less C·dV(bus)/dt.
 * This integrates the equation above instead of estimating dI/dt, so the bend of a charging curve does not
 * bias it; what the trapezoids of the mean current miss is in the uncertainty. A window near R·C or longer is
 * best: the noise of the first and last reading counts R·C/T times. Asserts equal lengths, rising times, uA >
 * 0.
 */
export function splitLeakage(series: CurrentSeries, path: ChargingPath): LeakageSplit {
  const { tS, iA, uA } = series
  assertSameLength(tS, iA, 'tS and iA')
  assertSameLength(uA, iA, 'uA and iA')
  assertPath(path)
  if (iA.length < fewestReadings) return { ok: false, reason: 'too few readings' }
  if (!allFinite(iA) || !allFinite(uA)) return { ok: false, reason: 'not a number' }
  assertAscending(tS)
  assert(allPositive(uA), 'uA must be above 0')
  const last = iA.length - 1
  const spanS = tS[last]! - tS[0]!
  const share = path.capacitanceF * path.seriesOhm / spanS
  const charge = chargeC(series)
  const currentA = charge.chargeC / spanS
  const slopeAPerS = (iA[last]! - iA[0]!) / spanS
  const busSlope = path.busSlopeVPerS ?? 0
  const chargingA = path.capacitanceF * (busSlope - path.seriesOhm * slopeAPerS)
  // the end readings stand in the mean as well as in the difference
  const ends = [0, last].map(i => {
    const inMean = widthS(tS, i) / spanS
    return uA[i]! ** 2 * ((inMean + (i === 0 ? -share : share)) ** 2 - inMean ** 2)
  })
  const noise = (charge.uNoiseC / spanS) ** 2 + ends[0]! + ends[1]!
  const uLeakageA = Math.sqrt(
    Math.max(0, noise) + (charge.uTrapezoidC / spanS) ** 2
    + (chargingA / path.capacitanceF * path.uCapacitanceF) ** 2
    + (path.capacitanceF * slopeAPerS * path.uSeriesOhm) ** 2
    + (path.capacitanceF * (path.uBusSlopeVPerS ?? 0)) ** 2)
  return { ok: true, leakageA: currentA - chargingA, uLeakageA, chargingA, currentA }
}

export interface Charge {
  chargeC: number
  /** Combined standard uncertainty in coulomb. */
  uC: number
  /** Its parts: noise of the readings, gain common to all, and the trapezoids' own error. */
  uNoiseC: number
  uGainC: number
  uTrapezoidC: number
}

/**
 * Charge under the current readings by trapezoids, times irregular. `gainU` is the relative standard
 * uncertainty common to all readings (meter gain, sense resistor), 0 by default. The trapezoids' error is
 * estimated from the same sum with every other reading left out (a third of the difference), taken as a
 * standard uncertainty.
 */
export function chargeC({ tS, iA, uA }: CurrentSeries, gainU = 0): Charge {
  assertNumbers(iA, 'iA', 2)
  assertNumbers(uA, 'uA', 2)
  assertSameLength(tS, iA, 'tS and iA')
  assertSameLength(uA, iA, 'uA and iA')
  assertAscending(tS)
  const n = iA.length
  let charge = 0, noise = 0
  for (let i = 0; i < n; i++) {
    charge += widthS(tS, i) * iA[i]!
    noise += (widthS(tS, i) * uA[i]!) ** 2
  }
  const uNoiseC = Math.sqrt(noise)
  const uGainC = Math.abs(charge) * gainU
  const uTrapezoidC = Math.abs(charge - coarse(tS, iA)) / 3
  return { chargeC: charge, uC: Math.hypot(uNoiseC, uGainC, uTrapezoidC), uNoiseC, uGainC, uTrapezoidC }
}

/** What reading i counts for in the trapezoid sum, in s. */
const widthS = (tS: ArrayLike<number>, i: number): number =>
  (tS[Math.min(i + 1, tS.length - 1)]! - tS[Math.max(i - 1, 0)]!) / 2

/** Trapezoids over every other reading, first and last kept. */
function coarse(tS: ArrayLike<number>, iA: ArrayLike<number>): number {
  const last = iA.length - 1
  let total = 0
  for (let i = 0; i < last; i += 2) {
    const j = Math.min(i + 2, last)
    total += (tS[j]! - tS[i]!) * (iA[i]! + iA[j]!) / 2
  }
  return total
}

export interface ExpectedCharge {
  capacitanceF: number
  /** How far the capacitance may lie below its value, as a fraction: 0.2 for -20 %. */
  toleranceBelow: number
  /** Rise of the part's own voltage, in V, and its standard uncertainty. */
  deltaV: number
  uDeltaV: number
}

export interface ContactVerdict {
  verdict: 'ok' | 'lost' | 'cannot-tell'
  /** Charge over C·deltaV of the marked capacitance, and its standard uncertainty. */
  ratio: number
  uRatio: number
}

/** Below this share of the least charge a part within tolerance takes, the contact is presumed lost. */
export const lostShare = 0.5

/**
 * Did the charge of a step go into the part? `lost` when the charge is shown (95 %, one-sided) to be under
 * half of what the smallest part within tolerance would take; `ok` when it is shown to be above that half and
 * is not shown to fall short of the whole; `cannot-tell` between, which a part that lost capacitance also
 * earns. More charge than C·deltaV is leakage and says nothing against the contact. Asserts deltaV,
 * capacitance above 0.
 */
export function judgeCharge(
  charge: { chargeC: number; uC: number }, expected: ExpectedCharge,
): ContactVerdict {
  const { capacitanceF, toleranceBelow, deltaV, uDeltaV } = expected
  assert(capacitanceF > 0 && deltaV > 0, 'an expected charge needs a capacitance and a rise of voltage')
  assert(toleranceBelow >= 0 && toleranceBelow < 1, `a tolerance lies between 0 and 1, got ${toleranceBelow}`)
  const whole = capacitanceF * deltaV
  const ratio = charge.chargeC / whole
  const uRatio = Math.hypot(charge.uC / whole, ratio * uDeltaV / deltaV)
  if (!Number.isFinite(ratio + uRatio)) return { verdict: 'cannot-tell', ratio: NaN, uRatio: NaN }
  const least = 1 - toleranceBelow
  const margin = normalQuantile(0.95) * uRatio
  if (ratio + margin < lostShare * least) return { verdict: 'lost', ratio, uRatio }
  const isOk = ratio - margin >= lostShare * least && ratio + margin >= least
  return { verdict: isOk ? 'ok' : 'cannot-tell', ratio, uRatio }
}

function assertPath(path: ChargingPath): void {
  assert(path.capacitanceF > 0 && path.seriesOhm >= 0, 'a charging path needs a capacitance and a resistance')
  assert(path.uCapacitanceF >= 0 && path.uSeriesOhm >= 0, 'uncertainties must be 0 or more')
}
