/**
 * What is to be proven of one part, whatever it is called: ratings and limits by kind, SI units.
 * Tolerances are shares of the nominal value, 0 or more. Every limit carries the words that say where it
 * comes from.
 */

export interface Limit {
  readonly low?: number
  readonly high?: number
  readonly source: string
  /** Asked by no list: where the bench is too coarse to judge by it, the part is graded without it. */
  readonly isUsual?: boolean
}

export interface Value {
  readonly nominal: number
  readonly minus: number
  readonly plus: number
  readonly source: string
}

export const valueLimit = ({ nominal, minus, plus, source }: Value): Limit => ({
  low: nominal * (1 - minus),
  high: nominal * (1 + plus),
  source,
})

export interface Resistor {
  readonly kind: 'resistor'
  readonly ohm: Value
  readonly ratedW: number
}

export interface Potentiometer {
  readonly kind: 'potentiometer'
  readonly ohm: Value
  /** Between wiper and an end at its stop. */
  readonly endOhm: Limit
  /** How far the ohms from an end to the wiper may step back while the shaft is turned. */
  readonly noiseOhm: Limit
  /** Share of the track at half a turn, from the nearer end; null where the list says no law. */
  readonly half: Limit | null
  /** Tracks on one shaft, where there are more than one; left out where there is one. */
  readonly gangs?: Gangs
}

export interface Gangs {
  readonly count: number
  /** What the shares of two tracks differ by, in dB, at a quarter, half and three quarters of the turn. */
  readonly trackingDb: Limit
}

export interface Capacitor {
  readonly kind: 'capacitor'
  readonly dielectric: 'film' | 'ceramic-1' | 'ceramic-2' | 'mica' | 'paper' | 'electrolytic' | 'tantalum'
  readonly farad: Value
  readonly dissipation: Limit | null
  /** Leakage, or what its insulation lets through; null where that is not asked for. */
  readonly leakage: Leakage | null
  /** Plus and minus are not the same: which end is which must be known before it is charged. */
  readonly isPolar?: boolean
  /** What comes back after a short, as a share of the volts before; left out where that is not asked for. */
  readonly absorption?: Limit
  /** Left out where it is no part of a mains class. */
  readonly mains?: MainsPart
}

/** Most current at the rated volts; at less in proportion. */
export interface Leakage {
  readonly ratedV: number
  readonly afterS: number
  readonly ampere: Limit
}

/** A capacitor at the mains: across them as class X, or to earth as class Y. */
export interface MainsPart {
  /** X2, Y1 …, or X or Y alone; none where nothing is marked and the list says that it sits there. */
  readonly classes: readonly string[]
  /** Where the list says that it sits; null where it does not, and the classes say what it is for. */
  readonly sits: 'across' | 'to earth' | null
  readonly voltageV: number
  readonly frequencyHz: number
  /** The list says that a bleeder lies across it, and perhaps of how many ohms; null where it does not. */
  readonly bleeder: { readonly ohm: Limit | null } | null
}

export interface Inductor {
  readonly kind: 'inductor'
  readonly henry: Value
  readonly frequencyHz: number
  readonly dcOhm: Limit | null
  readonly quality: Limit | null
}

/**
 * Of two windings, or of those in `wound`; of two that are measured together the one with more turns is the
 * high one, whichever is called primary.
 */
export interface Transformer {
  readonly kind: 'transformer'
  /** Turns of the high winding over those of the low one, 1 or more. */
  readonly ratio: Limit & { readonly nominal: number }
  /** Of the high winding with the other one open. */
  readonly henry: Limit | null
  /** The same, reactance over loss: turns that are shorted take it away. */
  readonly quality: Limit
  /** At 20 °C. */
  readonly highOhm: Limit | null
  readonly lowOhm: Limit | null
  /** Leakage inductance as a share of the inductance. */
  readonly leakageShare: Limit | null
  /** Between the windings, below touch-safe: no test of insulation. */
  readonly between: { readonly atV: number; readonly ampere: Limit }
  /** What the list says of tests of its insulation, made by a qualified person. */
  readonly recorded: string | null
  /** Where there are more than two windings, or one has taps; left out otherwise. */
  readonly wound?: Wound
  /** What it is rated to carry, where the list says so. */
  readonly rated?: RatedLoad
}

/** All windings of a transformer, the first one first. */
export interface Wound {
  /** Turns, or volts, from each lead of a winding to its next: one number where it has no tap. */
  readonly windings: readonly (readonly number[])[]
  /** How far the turns of any may be off against those of the first, as shares. */
  readonly below: number
  readonly above: number
  readonly source: string
  /** Turns of two parts of one winding that should be alike, one over the other. */
  readonly halves: Limit
}

export interface RatedLoad {
  readonly apparentVA: number
  /** Of each winding from its first lead to its last, under load. */
  readonly windingsV: readonly number[]
  readonly frequencyHz: number
  /** Null where the list asks for none. */
  readonly regulation: Limit | null
}

export interface Diode {
  readonly kind: 'diode'
  /** Plates in line, of a selenium rectifier; left out of any other. */
  readonly seleniumPlates?: number
  /** Currents, small to large, at which the forward voltage is read. */
  readonly forward: readonly { readonly currentA: number; readonly volt: Limit }[]
  readonly reverse: { readonly voltageV: number; readonly ampere: Limit } | null
  /** Breakdown in reverse, where that is what the part is for. */
  readonly zener: { readonly currentA: number; readonly volt: Limit; readonly slopeOhm: Limit | null } | null
}

/** Four junctions; each is held to both. */
export interface BridgeRectifier {
  readonly kind: 'bridge-rectifier'
  readonly forward: { readonly currentA: number; readonly volt: Limit }
  readonly reverse: { readonly voltageV: number; readonly ampere: Limit }
  /** Of selenium: plates of each arm, and a second, smaller forward current. */
  readonly selenium?: { readonly plates: number; readonly first: BridgeRectifier['forward'] }
}

export interface Bipolar {
  readonly kind: 'bipolar'
  /** Null: found. Only a person or the part's type says which leg is which where the part cannot. */
  readonly polarity: 'npn' | 'pnp' | null
  readonly material: 'silicon' | 'germanium'
  readonly collectorA: number
  readonly collectorV: number
  readonly gain: Limit
  readonly leakageA: Limit
  readonly baseV: Limit | null
  readonly saturationV: Limit | null
}

/** A field-effect transistor with a junction for its gate. Volts and amperes are magnitudes. */
export interface JunctionFet {
  readonly kind: 'jfet'
  /** Null: found. */
  readonly channel: 'n' | 'p' | null
  readonly drainV: number
  /** Drain current without gate volts (IDSS). */
  readonly idssA: Limit
  /** Gate volts that end it (VGS(off)). */
  readonly cutoffV: Limit
  /** Drain current at which that is stated; left out where it is that of no current at all. */
  readonly cutoffA?: number
  readonly gateLeak: { readonly atV: number; readonly ampere: Limit }
}

/** A field-effect transistor with an insulated gate that conducts by its gate volts. Magnitudes. */
export interface Mosfet {
  readonly kind: 'mosfet'
  readonly channel: 'n' | 'p' | null
  /** With gate and drain at the same volts. */
  readonly threshold: { readonly currentA: number; readonly volt: Limit }
  readonly slope: { readonly currentA: number; readonly siemens: Limit } | null
  readonly on: { readonly gateV: number; readonly currentA: number; readonly ohm: Limit }
  readonly drainLeak: { readonly atV: number; readonly ampere: Limit }
  readonly gateLeak: { readonly atV: number; readonly ampere: Limit }
}

/** The same, of a sort that conducts without gate volts and is shut by them. Magnitudes. */
export interface DepletionFet {
  readonly kind: 'depletion-mosfet'
  readonly channel: 'n' | 'p' | null
  readonly drainV: number
  /** Drain current without gate volts. */
  readonly idssA: Limit
  /** Gate volts against the channel that leave it so little. */
  readonly cutoff: { readonly currentA: number; readonly volt: Limit }
  readonly slope: { readonly currentA: number; readonly siemens: Limit }
  /** With `gateV` against the channel. */
  readonly drainLeak: { readonly gateV: number; readonly atV: number; readonly ampere: Limit }
  readonly gateLeak: { readonly atV: number; readonly ampere: Limit }
}

export interface Contact {
  readonly kind: 'contact'
  readonly ohm: Limit
}

export type ToProve =
  | Resistor | Potentiometer | Capacitor | Inductor | Transformer | Diode | BridgeRectifier | Bipolar
  | JunctionFet | Mosfet | DepletionFet | Contact
