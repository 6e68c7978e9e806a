/**
 * How hot a winding was when its power went off: its resistance can be read only afterwards, while it cools,
 * so the readings are carried back to the instant of switching off. °C, K, ohm, s.
 */
import { assert } from '../../base/assert.ts'
import type { Estimate } from '../decay-fit.ts'
import { windingC, zeroResistanceC } from '../devices/winding.ts'
import { allFinite, allPositive } from '../inputs.ts'
import { fitLinear, polynomialColumns } from '../linear-fit.ts'
import type { Series } from '../trend.ts'
import { propagateCovariance } from '../uncertainty.ts'
import { fitApproach } from './approach.ts'

export interface ColdWinding {
  ohm: Estimate
  /** Its temperature then: that of the air, after long enough without power. */
  celsius: Estimate
  /** Its metal, or where it is known better, the temperature of zero resistance in °C below zero. */
  k?: number
}
export interface HotWinding {
  ok: true
  /** Resistance at the instant of switching off. */
  ohm: Estimate
  celsius: Estimate
  /** Over the air at the end of the run. */
  riseK: Estimate
  /** How the readings were carried back: a law of cooling, or a curve where they tell no time constant. */
  by: 'exponential' | 'curve' | 'line'
}
export type WindingRefusal = 'too few readings' | 'not a number' | 'first reading too late' | 'not cooling'
export type WindingResult = HotWinding | { ok: false; reason: WindingRefusal }

/** Fewer do not even show a line and its scatter. */
const fewest = 4
const fewestForCurve = 6
/**
 * Carried back over more than this share of the time that the readings span, they say little (our choice).
 */
const backShareMost = 0.5

/**
 * `readings`: seconds since switching off (above 0, rising), ohms, and the random part of their u. `airC`:
 * the air at the end of the run. What is common to cold and hot readings, as the gain of one meter, is common
 * to both resistances and leaves their ratio alone; it does not belong into any u here. Formula of trade
 * texts, read; 234.5 for copper from memory.
 */
export function windingAtSwitchOff(readings: Series, cold: ColdWinding, airC: Estimate): WindingResult {
  const { tS, y, u } = readings
  if (y.length < fewest) return { ok: false, reason: 'too few readings' }
  if (!allFinite(tS) || !allPositive(y) || !allPositive(u)) return { ok: false, reason: 'not a number' }
  assert(tS[0]! > 0, 'resistance is read after switching off: times above 0')
  const spanS = tS[y.length - 1]! - tS[0]!
  if (tS[0]! > backShareMost * spanS) return { ok: false, reason: 'first reading too late' }
  const off = atZero(readings)
  if (!off) return { ok: false, reason: 'not cooling' }
  const { by, ...ohm } = off
  const k = cold.k ?? zeroResistanceC.copper
  const inputs = [cold.ohm, cold.celsius, ohm, airC]
  const covariance = inputs.map((one, i) => inputs.map((_, j) => i === j ? one.u ** 2 : 0))
  const found = propagateCovariance([
    ([r1, t1, r2]) => windingC(r1!, t1!, r2!, k),
    ([r1, t1, r2, t2]) => windingC(r1!, t1!, r2!, k) - t2!,
  ], inputs.map(({ value }) => value), covariance)
  const [celsius, riseK] = found.values.map((value, i) => ({ value, u: found.u[i]! }))
  return { ok: true, ohm, by, celsius: celsius!, riseK: riseK! }
}

function atZero(readings: Series): (Estimate & { by: HotWinding['by'] }) | null {
  const { tS, y, u } = readings
  const law = fitApproach(readings)
  if (law.ok) return law.change.value < 0 ? { ...law.at(0), by: 'exponential' } : null
  const degree = y.length >= fewestForCurve ? 2 : 1
  const fit = fitLinear({ columns: polynomialColumns(tS, degree), y, u })
  if (!fit.ok) return null
  const [value, slope] = fit.coefficients
  // A winding that seems to warm after its power went is none, or is not the one that was meant.
  if (slope! - 2 * fit.standardErrors[1]! > 0) return null
  const uValue = fit.standardErrors[0]! * Math.max(1, fit.residualSd)
  return { value: value!, u: uValue, by: degree === 2 ? 'curve' : 'line' }
}
