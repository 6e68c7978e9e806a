/**
 * What lies on the table at a jig: the parts of the Saltmarsh Pavilion's amplifier and its pre-amplifier of
 * 1974, as profiles/lists/saltmarsh-amplifier.csv lists them, and two check standards. The seed decides what
 * each really is.
 */
import { SeededRandom } from '../../src/base/random.ts'
import type { Component } from '../components/component.ts'
import { defectsOf, type ComponentKind, type Defect, type Rating } from '../components/kinds.ts'
import { makeComponent } from '../components/make-component.ts'
import { isFaint } from './faint.ts'
import { truthInWords } from './truth-words.ts'

export interface TruthOfPart {
  readonly part: string
  readonly kind: ComponentKind
  /** Null: sound. */
  readonly defect: Defect | null
  /** One sentence for a person. */
  readonly truth: string
  /** What a right judgement says of it. */
  readonly grades: readonly ('accept' | 'reject' | 'cannot tell')[]
  /** What is wrong does not show in what a list asks of such a part. */
  readonly faint: boolean
}

/** A part whose value stands on a certificate: `value` and standard uncertainty `u` in ohms or farads. */
export interface Certified {
  readonly id: string; readonly quantity: 'resistance' | 'capacitance'
  readonly value: number; readonly u: number
}

export interface Drawer {
  readonly parts: ReadonlyMap<string, Component>
  readonly standards: readonly Certified[]
  /** Everything that can be put in, by the name that a session says. */
  find(name: string): Component | null
  truth(): TruthOfPart[]
}

type Line =
  readonly [names: string, kind: ComponentKind, rating: Rating, defects?: readonly Defect[]]
const resistor = (names: string, value: number, tolerance = 0.05): Line =>
  [names, 'resistor', { value, tolerance }]
const electrolytic = (names: string, value: number, volts: number): Line =>
  [names, 'electrolytic-capacitor', { value, tolerance: 0.2, volts }]
const film = (names: string, value: number, volts: number, tolerance = 0.1): Line =>
  [names, 'film-capacitor', { value, tolerance, volts }]
const mica = (names: string, value: number): Line =>
  [names, 'mica-capacitor', { value, tolerance: 0.05, volts: 500 }]
const contact = (names: string, value: number): Line => [names, 'contact', { value, tolerance: 1 }]

/** Tubes and integrated circuits are not simulated: of them there is nothing to put in. */
const lines: readonly Line[] = [
  resistor('R1', 1e6, 0.1), resistor('R2 R3', 100e3), resistor('R4', 4700), resistor('R5', 1000),
  resistor('R6', 47e3), resistor('R7 R8', 10e3, 0.01), resistor('R9', 2200), resistor('R10', 470),
  resistor('R11 R12', 220), resistor('R13', 10, 0.1), resistor('R14 R15', 0.47, 0.1),
  film('C1', 100e-9, 250), electrolytic('C2', 10e-6, 25), film('C3', 47e-9, 250), mica('C4', 470e-12),
  ['C5', 'ceramic-capacitor', { value: 10e-9, tolerance: 0.2, volts: 50 }], electrolytic('C6', 100e-6, 16),
  electrolytic('C7', 47e-6, 40), mica('C8', 220e-12), electrolytic('C9', 470e-6, 40),
  ['C13 C14', 'class-1-capacitor', { value: 1e-9, tolerance: 0.05, volts: 50 }],
  ['C15', 'class-1-capacitor', { value: 220e-12, tolerance: 0.05, volts: 50 }],
  film('C10', 33e-9, 100), film('C11', 100e-9, 250, 0.2), film('C12', 220e-9, 100),
  ['L1', 'inductor', { value: 10e-3, tolerance: 0.1 }],
  ['D1 D2', 'diode', { value: 75, tolerance: 0 }], ['D3 D4', 'diode', { value: 200, tolerance: 0 }],
  ['D5', 'zener', { value: 5.1, tolerance: 0.05 }], ['D6', 'zener', { value: 12, tolerance: 0.05 }],
  ['D7', 'led', { value: 1.8, tolerance: 0.1 }],
  ['Q1 Q2', 'npn', { value: 250, tolerance: 0.5, volts: 45 }],
  ['Q3', 'n-jfet', { value: 6e-3, tolerance: 0.5, volts: 3 }],
  ['Q4', 'pnp', { value: 200, tolerance: 0.5, volts: 45 }],
  ['Q5', 'npn-germanium', { value: 60, tolerance: 0.5, volts: 25 }],
  ['Q6 Q7', 'pnp-germanium', { value: 80, tolerance: 0.5, volts: 25 }],
  ['RV1', 'potentiometer', { value: 10e3, tolerance: 0.2 }],
  contact('K1', 0.05), contact('S1', 0.03),
  // A fuse is whole or it has blown.
  ['F1', 'contact', { value: 0.1, tolerance: 1 }, ['open']],
  ['T1', 'transformer', { value: 1, tolerance: 0.3, ratio: 10 }],
]

const certified: readonly Certified[] = [
  { id: 'known-100', quantity: 'resistance', value: 100, u: 0.005 },
  { id: 'known-100n', quantity: 'capacitance', value: 100e-9, u: 0.1e-9 },
]

/** How many of a hundred parts are not what they should be (ours): old electrolytics fail first. */
const spoiltShare = (kind: ComponentKind): number => kind === 'electrolytic-capacitor' ? 0.5 : 0.2

/** The same seed fills the drawer in the same way. */
export function drawDrawer(seed: number): Drawer {
  const parts = new Map<string, Component>()
  for (const [names, kind, rating, defects = defectsOf[kind]] of lines) {
    for (const name of names.split(' ')) {
      const random = new SeededRandom(seed).fork(name)
      const defect = random.next() < spoiltShare(kind) ? random.pick(defects) : undefined
      parts.set(name, makeComponent(kind, rating, `${seed}:${name}`, defect ? { defect } : {}))
    }
  }
  const known = new Map(certified.map(one => [one.id, standardPart(one, seed)]))
  known.set('shorting wire', makeWire())
  return {
    parts, standards: certified, find: name => parts.get(name) ?? known.get(name) ?? null,
    truth: () => [...parts].map(([name, part]) => truthOf(name, part, `${seed}:${name}`)),
  }
}

/** A bare wire between two legs, 1 mΩ (ours). */
export const makeWire = (): Component => makeComponent('resistor', { value: 1e-3, tolerance: 1e-6 }, 'wire')

/** As far from its certificate as that leaves open. */
function standardPart({ id, quantity, value, u }: Certified, seed: number): Component {
  const kind = quantity === 'resistance' ? 'resistor' : 'film-capacitor'
  return makeComponent(kind, { value, tolerance: 2.5 * u / value }, `${seed}:${id}`)
}

function truthOf(part: string, component: Component, seed: string): TruthOfPart {
  const { marked, defect } = component.truth
  return {
    part, kind: marked, defect, truth: truthInWords(component.truth), grades: rightGrades(defect),
    faint: defect !== null && isFaint(component, seed),
  }
}

/** A part that lies the other way round works; of one that is never twice the same nothing can be said. */
function rightGrades(defect: Defect | null): TruthOfPart['grades'] {
  if (defect === null) return ['accept']
  if (defect === 'poor-contact') return ['cannot tell', 'reject']
  return defect === 'reversed' ? ['accept'] : ['reject']
}
