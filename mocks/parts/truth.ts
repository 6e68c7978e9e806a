/**
 * The hidden truth of one simulated electrolytic capacitor, and the constants of its physics. SI throughout.
 * Every constant says where it comes from: "published" (read in the literature), "memory", "derived", or
 * "ours" (a modelling choice). docs/simulated-bench.md explains the equations.
 */

/** Current leakage doubles every 19.6 K. Derived from a tenfold rise between 20 and 85 °C (memory). */
export const leakagePerKelvin = 0.0354
/** Exponent of bulk leakage against volts over rated volts: 0.11 at half volts. Ours. */
export const bulkExponent = 3
/** Exponent of high-field conduction at the forming field. Ours, within 25 to 40. */
export const formingExponent = 30
/** Current density that defines "the forming voltage", A/cm². Ours. */
export const formingDensityAcm2 = 1e-4
/** Charge that grows oxide worth one volt on one square centimetre, C/(V·cm²). Derived from Faraday's law. */
export const growthCVcm2 = 2.32e-3
/**
 * Capacitance times forming volts of one square centimetre, F·V/cm². Derived from permittivity and nm per
 * volt.
 */
export const oxideFVcm2 = 6.37e-6
/** The foil of a part was formed to this multiple of its rated volts. Ours. */
export const formedAtRatio = 1.3
/**
 * Reverse conduction: this current flows at `reverseKneeV` and changes e-fold every `reverseSlopeV`. Ours.
 */
export const reverseKneeA = 1e-3
export const reverseKneeV = 1.5
export const reverseSlopeV = 0.15

export interface Rated { voltageV: number; capacitanceF: number }

/** One absorption branch: a series R-C across the part, R = timeConstantS / capacitanceF. */
export interface AbsorptionBranch { capacitanceF: number; timeConstantS: number }

export interface PartTruth {
  /** Capacitance at 120 Hz and low signal once formed, without the absorption branches. */
  capacitanceF: number
  /** Effective area, cm². */
  areaCm2: number
  /** Volts to which the weakest oxide is formed at the start. */
  formingV: number
  /** Fraction of the area that is weak. */
  weakFraction: number
  /** Fraction of the forming current that grows oxide. */
  growthEfficiency: number
  /** Oxide dissolves with this time constant at rest; Infinity for never. */
  dissolutionS: number
  /** Bulk leakage per farad and volt at rated volts, 20 °C: A/(F·V) = 1/s. */
  bulkPerS: number
  shuntOhm: number
  /** Electrolyte resistance at 20 °C, and how fast it rises in the cold (K). */
  electrolyteOhm: number
  electrolyteSlopeK: number
  /** Loss tangent of the oxide alone; constant with frequency. */
  oxideLoss: number
  /** How much higher capacitance reads, at most, while the oxide is fully de-formed (fraction). */
  deformedExcess: number
  branches: AbsorptionBranch[]
  thermalResistanceKW: number
  thermalCapacityJK: number
  reversed: boolean
  events: PartEvent[]
}

/**
 * What will befall the part. Stress events happen once it has stood at or above `atFraction` of rated volts
 * for `afterS` seconds in all; contact events at a time of the simulation.
 */
export type PartEvent =
  | { kind: 'short' | 'overheat'; atFraction: number; afterS: number; toOhm: number; fallS: number }
  | { kind: 'open'; atFraction: number; afterS: number }
  | { kind: 'scintillate'; atFraction: number; afterS: number; dropFraction: number; meanGapS: number }
  | { kind: 'contact-open'; atS: number }
  | { kind: 'contact-intermittent'; atS: number; meanClosedS: number; meanOpenS: number }

/** Area of a foil of this capacitance and rating, cm². */
export const areaOf = (rated: Rated): number =>
  rated.capacitanceF * formedAtRatio * rated.voltageV / oxideFVcm2

/** A sound part without absorption, losses or faults: the starting point for hand-made parts in tests. */
export function plainTruth(rated: Rated, over: Partial<PartTruth> = {}): PartTruth {
  return {
    capacitanceF: rated.capacitanceF, areaCm2: areaOf(rated), formingV: formedAtRatio * rated.voltageV,
    weakFraction: 5e-4, growthEfficiency: 0.8, dissolutionS: Infinity, bulkPerS: 2e-4, shuntOhm: Infinity,
    electrolyteOhm: 0, electrolyteSlopeK: 2000, oxideLoss: 0, deformedExcess: 0, branches: [],
    thermalResistanceKW: 20, thermalCapacityJK: 40, reversed: false, events: [], ...over,
  }
}
