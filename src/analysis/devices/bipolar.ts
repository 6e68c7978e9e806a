/**
 * Gain of a bipolar transistor with its leakage kept apart. Magnitudes, so for NPN and PNP alike; A, V, ohm.
 */
import { assert } from '../../base/assert.ts'
import { thermalVoltageV } from './diode.ts'

export interface GainReadings {
  /** Voltage over the collector resistor with the base open, and with the base resistor connected, V. */
  offV: number
  onV: number
  collectorOhm: number
  supplyV: number
  baseOhm: number
  /** Base to emitter; some 0.1 V for germanium, 0.65 V for silicon where it is not measured. */
  vbeV: number
}

export interface Gain {
  /** Collector current with the base open (ICEO), A. */
  leakageA: number
  baseA: number
  collectorA: number
  /** Gain with the leakage taken off, and what it would seem without that. */
  gain: number
  apparentGain: number
  /** Leakage over collector current: above 0.1 the gain is doubtful (ASTM F528, read in a summary). */
  leakageShare: number
}

/**
 * Static gain from two readings. Asserts resistors above 0, a supply above VBE, and onV above offV, 0 or
 * more.
 */
export function gainWithoutLeakage({ offV, onV, collectorOhm, supplyV, baseOhm, vbeV }: GainReadings): Gain {
  assert(collectorOhm > 0 && baseOhm > 0, 'resistors must be above 0')
  assert(supplyV > vbeV, 'the supply must be above VBE')
  assert(offV >= 0 && onV > offV, 'the reading with base current must be above the one without')
  const [leakageA, collectorA, baseA] = [offV / collectorOhm, onV / collectorOhm, (supplyV - vbeV) / baseOhm]
  return {
    leakageA, baseA, collectorA, gain: (collectorA - leakageA) / baseA, apparentGain: collectorA / baseA,
    leakageShare: leakageA / collectorA,
  }
}

/**
 * Difference of VBE, V, of two transistors whose saturation currents are in this ratio. Asserts a ratio above
 * 0.
 */
export function vbeDifferenceV(currentRatio: number, tempC = 25): number {
  assert(currentRatio > 0, `a ratio above 0 is needed, got ${currentRatio}`)
  return thermalVoltageV(tempC) * Math.log(currentRatio)
}
