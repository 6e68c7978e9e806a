/**
 * Field-effect transistors by the square law, ID = IDSS·(1 - VGS/VGS(off))². A and V; signs as measured: both
 * voltages negative for an n-channel junction type, positive for a p-channel one.
 */
import { assert } from '../../base/assert.ts'

/** Drain current at VGS; 0 beyond cut-off. Asserts IDSS above 0 and VGS(off) not 0. */
export function squareLawA(idssA: number, vgsOffV: number, vgsV: number): number {
  assert(idssA > 0 && vgsOffV !== 0, 'the square law needs IDSS above 0 and a VGS(off)')
  return idssA * Math.max(0, 1 - vgsV / vgsOffV) ** 2
}

/** VGS(off) from IDSS and one more point. Asserts a current above 0 and below IDSS, and VGS not 0. */
export function vgsOffFromPoint(idssA: number, drainA: number, vgsV: number): number {
  assert(drainA > 0 && drainA < idssA && vgsV !== 0, 'needs a current from 0 to IDSS at a VGS other than 0')
  return vgsV / (1 - Math.sqrt(drainA / idssA))
}

export interface SquareLaw {
  /** Gate voltage at which the extrapolated current ends: VGS(off) of a junction type, Vth of a MOSFET. */
  thresholdV: number
  /** ID = gain·(VGS - threshold)², A/V². */
  gainAPerV2: number
  /** The same at VGS = 0: IDSS of a junction type. */
  idssA: number
}

/**
 * Extrapolation of the root of the drain current through two points (VGS in V, ID in A), for junction types
 * and MOSFETs. Asserts currents above 0 that differ, and voltages that differ.
 */
export function squareLawThrough(first: [vgsV: number, drainA: number], second: [number, number]): SquareLaw {
  const [[v1, i1], [v2, i2]] = [first, second]
  assert(i1 > 0 && i2 > 0 && i1 !== i2 && v1 !== v2, 'needs two points that differ in voltage and current')
  const slope = (Math.sqrt(i2) - Math.sqrt(i1)) / (v2 - v1)
  const thresholdV = v1 - Math.sqrt(i1) / slope
  return { thresholdV, gainAPerV2: slope ** 2, idssA: (slope * thresholdV) ** 2 }
}
