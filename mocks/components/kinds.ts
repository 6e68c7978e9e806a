/** Kinds of parts that are screened below touch-safe, what is printed on them, and what can be wrong. */

export const componentKinds = [
  'resistor', 'potentiometer', 'ganged-potentiometer', 'film-capacitor', 'ceramic-capacitor',
  'class-1-capacitor', 'mica-capacitor',
  'paper-capacitor', 'mains-capacitor', 'electrolytic-capacitor', 'tantalum-capacitor',
  'inductor', 'transformer', 'tapped-transformer', 'diode', 'zener', 'led',
  'bridge-rectifier', 'selenium-rectifier', 'selenium-bridge',
  'npn', 'pnp', 'npn-germanium', 'pnp-germanium', 'n-jfet', 'p-jfet', 'n-mosfet',
  'p-mosfet', 'n-depletion-mosfet', 'p-depletion-mosfet', 'contact',
] as const
export type ComponentKind = (typeof componentKinds)[number]

/**
 * What is printed, SI. `value`: ohms (resistor, potentiometer, contact), farads, henries (of the primary),
 * volts (zener; rated reverse volts of a diode or a bridge; forward volts of an LED; threshold of a
 * MOSFET, cut-off of one that conducts without gate volts), current gain (bipolar), amperes at no gate volts
 * (JFET).
 */
export interface Rating {
  readonly value: number
  /** As a fraction. */
  readonly tolerance: number
  /** Rated volts; pinch-off volts of a JFET. */
  readonly volts?: number
  /** Turns ratio, primary to secondary. */
  readonly ratio?: number
  /** Turns from each lead of a winding to its next, by winding. */
  readonly windings?: readonly (readonly number[])[]
  /** Plates in line of a selenium rectifier, or of each arm of a bridge. */
  readonly plates?: number
  /** Ohms across a capacitor for the mains. */
  readonly bleederOhm?: number
}

export const defects = [
  'short', 'open', 'wrong-value', 'leaky', 'drifted', 'low-gain', 'reversed', 'mislabelled', 'poor-contact',
  'no-bleeder',
] as const
export type Defect = (typeof defects)[number]

/** Common ratings, for a part that turns out to be of another kind. */
export const usualRatings: Readonly<Record<ComponentKind, Rating>> = {
  resistor: { value: 4700, tolerance: 0.05 },
  potentiometer: { value: 10e3, tolerance: 0.2 }, 'ganged-potentiometer': { value: 10e3, tolerance: 0.2 },
  'film-capacitor': { value: 100e-9, tolerance: 0.1, volts: 100 },
  'ceramic-capacitor': { value: 10e-9, tolerance: 0.1, volts: 50 },
  'class-1-capacitor': { value: 1e-9, tolerance: 0.05, volts: 50 },
  'mica-capacitor': { value: 470e-12, tolerance: 0.05, volts: 500 },
  'mains-capacitor': { value: 220e-9, tolerance: 0.2, volts: 275, bleederOhm: 1e6 },
  'electrolytic-capacitor': { value: 10e-6, tolerance: 0.2, volts: 25 },
  'tantalum-capacitor': { value: 10e-6, tolerance: 0.2, volts: 25 },
  'paper-capacitor': { value: 22e-9, tolerance: 0.2, volts: 400 },
  inductor: { value: 100e-6, tolerance: 0.1 },
  transformer: { value: 1, tolerance: 0.3, ratio: 10 },
  'tapped-transformer': { value: 4, tolerance: 0.3, windings: [[230], [12, 12], [6.3]] },
  diode: { value: 75, tolerance: 0 },
  'bridge-rectifier': { value: 100, tolerance: 0 },
  'selenium-rectifier': { value: 125, tolerance: 0, plates: 5 },
  'selenium-bridge': { value: 50, tolerance: 0, plates: 2 },
  zener: { value: 5.1, tolerance: 0.05 },
  led: { value: 1.9, tolerance: 0.1 },
  npn: { value: 250, tolerance: 0.5, volts: 45 }, pnp: { value: 200, tolerance: 0.5, volts: 45 },
  'npn-germanium': { value: 60, tolerance: 0.5, volts: 25 },
  'pnp-germanium': { value: 80, tolerance: 0.5, volts: 25 },
  'n-jfet': { value: 6e-3, tolerance: 0.5, volts: 3 }, 'p-jfet': { value: 4e-3, tolerance: 0.5, volts: 3 },
  'n-mosfet': { value: 2, tolerance: 0.3, volts: 60 }, 'p-mosfet': { value: 2.5, tolerance: 0.3, volts: 60 },
  'n-depletion-mosfet': { value: 2, tolerance: 0.4, volts: 60 },
  'p-depletion-mosfet': { value: 2.5, tolerance: 0.4, volts: 60 },
  contact: { value: 0.03, tolerance: 1 },
}

/** What lies in the drawer in place of what is printed on it; none where nobody would mistake it. */
export const mistakenFor: Readonly<Partial<Record<ComponentKind, ComponentKind>>> = {
  resistor: 'inductor', inductor: 'resistor', 'film-capacitor': 'ceramic-capacitor',
  'ceramic-capacitor': 'film-capacitor', 'mica-capacitor': 'ceramic-capacitor',
  'class-1-capacitor': 'ceramic-capacitor',
  diode: 'zener', zener: 'diode',
  led: 'diode', npn: 'pnp', pnp: 'npn', 'npn-germanium': 'npn', 'pnp-germanium': 'pnp', 'n-jfet': 'npn',
  'p-jfet': 'pnp', 'n-mosfet': 'p-mosfet', 'p-mosfet': 'n-mosfet',
  'n-depletion-mosfet': 'n-mosfet', 'p-depletion-mosfet': 'p-mosfet',
}

const common = ['open', 'wrong-value', 'mislabelled', 'poor-contact'] as const
const semiconductor = ['short', 'open', 'leaky', 'reversed', 'mislabelled', 'poor-contact'] as const
const capacitor = ['short', 'leaky', 'drifted', ...common] as const
const transistor = [...semiconductor, 'low-gain'] as const

const polar = ['short', 'leaky', 'drifted', 'open', 'wrong-value', 'poor-contact', 'reversed'] as const

/** Which defects a kind can have. */
export const defectsOf: Readonly<Record<ComponentKind, readonly Defect[]>> = {
  resistor: ['drifted', ...common],
  potentiometer: ['drifted', ...common], 'ganged-potentiometer': ['drifted', ...common],
  'film-capacitor': capacitor, 'ceramic-capacitor': capacitor, 'mica-capacitor': capacitor,
  'class-1-capacitor': capacitor,
  'mains-capacitor': ['short', 'leaky', 'drifted', 'open', 'wrong-value', 'poor-contact', 'no-bleeder'],
  'electrolytic-capacitor': polar, 'tantalum-capacitor': polar,
  'paper-capacitor': ['short', 'leaky', 'drifted', 'open', 'wrong-value', 'poor-contact'],
  inductor: ['short', ...common],
  transformer: ['short', 'open', 'wrong-value', 'leaky', 'reversed', 'poor-contact'],
  'tapped-transformer':
    ['short', 'open', 'wrong-value', 'leaky', 'reversed', 'mislabelled', 'poor-contact'],
  'bridge-rectifier': ['short', 'open', 'leaky', 'reversed', 'poor-contact'],
  'selenium-rectifier': ['short', 'open', 'leaky', 'drifted', 'reversed', 'poor-contact'],
  'selenium-bridge': ['short', 'open', 'leaky', 'drifted', 'reversed', 'poor-contact'],
  diode: semiconductor, zener: [...semiconductor, 'wrong-value', 'drifted'], led: semiconductor,
  npn: transistor, pnp: transistor, 'npn-germanium': transistor, 'pnp-germanium': transistor,
  'n-jfet': transistor, 'p-jfet': transistor, 'n-mosfet': transistor, 'p-mosfet': transistor,
  'n-depletion-mosfet': transistor, 'p-depletion-mosfet': transistor,
  contact: ['open', 'drifted', 'poor-contact'],
}

/** Four junctions in a ring. */
export const isBridge = (kind: ComponentKind): boolean =>
  kind === 'bridge-rectifier' || kind === 'selenium-bridge'

/** Plus and minus are not the same. */
export const isPolar = (kind: ComponentKind): boolean => /^(electrolytic|tantalum)-/.test(kind)

/** Three windings, of which the second has a tap in its middle. */
const tappedPins = [
  'winding 1 beginning', 'winding 1 end', 'winding 2 beginning', 'winding 2 tap 1', 'winding 2 end',
  'winding 3 beginning', 'winding 3 end',
] as const

const gangedPins = [1, 2].flatMap(gang =>
  ['end', 'wiper', 'other end'].map(pin => `gang ${gang} ${pin}`))

/** The pins on which the leads of a jig lie first, where a part has more of them than a jig has leads. */
export const firstLed: Readonly<Partial<Record<ComponentKind, readonly string[]>>> = {
  'tapped-transformer': tappedPins.slice(0, 4), 'ganged-potentiometer': gangedPins.slice(0, 3),
}

/** What stands at each terminal of a part as its kind is usually drawn. */
export function usualPins(kind: ComponentKind): readonly string[] {
  if (/^(npn|pnp)/.test(kind)) return ['emitter', 'base', 'collector']
  if (kind.endsWith('fet')) return ['source', 'gate', 'drain']
  if (kind === 'potentiometer') return ['end', 'wiper', 'other end']
  if (kind === 'transformer') return ['primary', 'primary end', 'secondary', 'secondary end']
  if (kind === 'tapped-transformer') return tappedPins
  if (kind === 'ganged-potentiometer') return gangedPins
  if (isBridge(kind)) return ['plus', 'ac', 'other ac', 'minus']
  if (['diode', 'led', 'zener', 'selenium-rectifier'].includes(kind)) return ['anode', 'cathode']
  return isPolar(kind) ? ['plus', 'minus'] : ['end', 'other end']
}
