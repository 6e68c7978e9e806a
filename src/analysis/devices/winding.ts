/** Temperature of a winding by its resistance. Formula of trade texts, read; °C, K and ohm. */
import { assert } from '../../base/assert.ts'

/**
 * Inferred temperature of zero resistance, °C below zero: copper (IEC 60076-1 uses 235, from memory),
 * aluminium.
 */
export const zeroResistanceC = { copper: 234.5, aluminium: 225 } as const

/** Resistance at `toC` of a winding that has `ohm` at `fromC`. Asserts ohm above 0 and sane temperatures. */
export function windingOhmAt(
  ohm: number, fromC: number, toC: number, k: number = zeroResistanceC.copper,
): number {
  assert(ohm > 0 && fromC > -k && toC > -k, 'needs a resistance above 0 and temperatures a winding can have')
  return ohm * (k + toC) / (k + fromC)
}

/** Temperature at which a winding that has `coldOhm` at `coldC` has `hotOhm`. Asserts as above. */
export function windingC(
  coldOhm: number, coldC: number, hotOhm: number, k: number = zeroResistanceC.copper,
): number {
  assert(coldOhm > 0 && hotOhm > 0 && coldC > -k, 'needs resistances above 0 and a temperature it can have')
  return hotOhm / coldOhm * (k + coldC) - k
}

/**
 * Rise over the air, K: what the winding has more than the air at the end of the run (`airC`, by default as
 * cold as the winding was at the start).
 */
export function windingRiseK(
  coldOhm: number, coldC: number, hotOhm: number, airC = coldC, k: number = zeroResistanceC.copper,
): number {
  return windingC(coldOhm, coldC, hotOhm, k) - airC
}
