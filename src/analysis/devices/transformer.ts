/** Transformers and coupled windings from terminal tests (textbook formulas). V, A, W, ohm, H, Hz. */
import { assert } from '../../base/assert.ts'
import { allPositive } from '../inputs.ts'

export interface OpenCircuit {
  /**
   * Core loss as a resistance across the winding, and the magnetising branch beside it (none: 0 A, Infinity).
   */
  coreOhm: number
  magnetisingA: number
  magnetisingOhm: number
  magnetisingH: number
}

/**
 * From voltage, current and power of one winding with the others open. Asserts values above 0 and a power no
 * greater than volts times amperes.
 */
export function openCircuitTest(
  voltsV: number, currentA: number, powerW: number, frequencyHz: number,
): OpenCircuit {
  const inPhaseA = inPhase(voltsV, currentA, powerW, frequencyHz)
  const magnetisingA = Math.sqrt(Math.max(0, currentA ** 2 - inPhaseA ** 2))
  const magnetisingOhm = voltsV / magnetisingA
  return {
    coreOhm: voltsV ** 2 / powerW, magnetisingA, magnetisingOhm,
    magnetisingH: magnetisingOhm / (2 * Math.PI * frequencyHz),
  }
}

export interface ShortCircuit {
  /** Resistance of both windings, and leakage, seen from the winding fed. */
  seriesOhm: number
  leakageOhm: number
  leakageH: number
}

/**
 * From voltage, current and power of one winding with the other shorted. Asserts as `openCircuitTest` does.
 */
export function shortCircuitTest(
  voltsV: number, currentA: number, powerW: number, frequencyHz: number,
): ShortCircuit {
  inPhase(voltsV, currentA, powerW, frequencyHz)
  const seriesOhm = powerW / currentA ** 2
  const leakageOhm = Math.sqrt(Math.max(0, (voltsV / currentA) ** 2 - seriesOhm ** 2))
  return { seriesOhm, leakageOhm, leakageH: leakageOhm / (2 * Math.PI * frequencyHz) }
}

function inPhase(voltsV: number, currentA: number, powerW: number, frequencyHz: number): number {
  assert(allPositive([voltsV, currentA, powerW, frequencyHz]), 'readings must be above 0')
  assert(powerW <= voltsV * currentA, 'power cannot be more than volts times amperes')
  return powerW / voltsV
}

/**
 * Rise of the voltage when the load is taken off, as a share of the loaded voltage. Asserts voltages above 0.
 */
export function regulation(openV: number, loadedV: number): number {
  assert(openV > 0 && loadedV > 0, 'voltages must be above 0')
  return (openV - loadedV) / loadedV
}

/**
 * The same at a load that is a plain resistance, from what stands in line with it: resistance and reactance
 * as shares of the load, both on one side. The magnetising current is left out. Standard uncertainties.
 */
export function regulationInLine(
  resistance: { readonly value: number; readonly u: number },
  reactance: { readonly value: number; readonly u: number },
): { value: number; u: number } {
  assert(resistance.value >= 0 && reactance.value >= 0, 'shares must not be below 0')
  const open = Math.hypot(1 + resistance.value, reactance.value)
  const u = Math.hypot((1 + resistance.value) * resistance.u, reactance.value * reactance.u) / open
  return { value: open - 1, u }
}

/**
 * Mutual inductance, H, and coupling factor, from two windings in series aiding and opposing. Asserts
 * inductances above 0 and aiding no less than opposing.
 */
export function coupling(
  firstH: number, secondH: number, aidingH: number, opposingH: number,
): { mutualH: number; factor: number } {
  assert(allPositive([firstH, secondH, opposingH]), 'inductances must be above 0')
  assert(aidingH >= opposingH, 'aiding is the greater of the two')
  const mutualH = (aidingH - opposingH) / 4
  return { mutualH, factor: mutualH / Math.sqrt(firstH * secondH) }
}

/**
 * Polarization index, insulation resistance at 10 min over that at 1 min. It says little of small
 * random-wound windings, whose absorption is over in seconds: use `absorptionRatio` (read in summaries of
 * IEEE 43).
 */
export const polarizationIndex = (after600sOhm: number, after60sOhm: number): number =>
  ratioOf(after600sOhm, after60sOhm)

/** Dielectric absorption ratio, insulation resistance at 60 s over that at 30 s. */
export const absorptionRatio = (after60sOhm: number, after30sOhm: number): number =>
  ratioOf(after60sOhm, after30sOhm)

function ratioOf(later: number, earlier: number): number {
  assert(later > 0 && earlier > 0, 'insulation resistances must be above 0')
  return later / earlier
}
