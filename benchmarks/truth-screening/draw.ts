/**
 * Parts for the truth study of screening. Half of them have a defect, drawn from all that their kind can have.
 * Of the sound ones seven in ten are drawn about an edge of what the list asks, where a grade can go wrong.
 */
import { Component } from '../../mocks/components/component.ts'
import { defectsOf, type ComponentKind, type Defect, type Rating } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { SeededRandom } from '../../src/base/random.ts'
import type { Criterion } from '../../src/schema/run.ts'
import type { PartsLine } from '../../src/schema/parts-list.ts'

export interface StudyPart {
  readonly seed: string
  readonly kind: ComponentKind
  readonly defect: Defect | null
  readonly component: Component
  readonly line: PartsLine
}

/** How a kind stands in a list, and the hidden value that is moved to an edge. */
interface Kind {
  rating(random: SeededRandom): Rating
  listed(rating: Rating): Partial<PartsLine>
  readonly main?: string
  /** The criterion that is about it: there alone wrong grades are as many as predicted. */
  readonly criterion?: Criterion['name']
  /** The edges of what is asked, in units of the hidden value. */
  edges?(rating: Rating): readonly number[]
  /** Standard deviation of the true value about its edge, as a share: some five standard uncertainties. */
  readonly spread?: number
}

const e12 = [1, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2] as const
const within = (random: SeededRandom, decades: readonly number[]): number => random.pick(e12) * random.pick(decades)
const byTolerance = ({ value, tolerance }: Rating): number[] => [value * (1 - tolerance), value * (1 + tolerance)]

const listedValue = (quantity: 'resistance' | 'capacitance' | 'inductance', unit: 'Ω' | 'F' | 'H') =>
  ({ value, tolerance }: Rating): Partial<PartsLine> =>
    ({ value: { quantity, si: value, unit }, toleranceMinus: tolerance, tolerancePlus: tolerance })

const capacitor = (
  dielectric: PartsLine['dielectrics'][number], decades: readonly number[], volts: number, tolerances: readonly number[],
): Kind => ({
  rating: random => ({ value: within(random, decades), tolerance: random.pick(tolerances), volts }),
  listed: rating => ({
    ...listedValue('capacitance', 'F')(rating), kind: 'capacitor', dielectrics: [dielectric], ratedV: rating.volts ?? null,
  }),
  main: 'farad', criterion: 'capacitance', edges: byTolerance, spread: 0.005,
})

/** Where a list says no gain, at least 20 is asked. */
const bipolar = (kind: 'npn' | 'pnp', material: 'silicon' | 'germanium', stated?: readonly [low: number, high: number]): Kind => ({
  rating: () => ({ value: 80, tolerance: 0.5, volts: 45 }),
  listed: () => ({ kind, material, ...stated ? { limits: [{ of: 'gain', low: stated[0], high: stated[1] }] } : {} }),
  main: 'gain', criterion: 'gain', edges: () => stated ?? [20], spread: 0.03,
})
const field = (kind: 'jfet-n' | 'jfet-p' | 'mosfet-n' | 'mosfet-p' | 'mosfet-n-depletion' | 'mosfet-p-depletion', value: number, volts: number): Kind =>
  ({ rating: () => ({ value, tolerance: 0.3, volts }), listed: () => ({ kind }) })

export const studyKinds: Readonly<Partial<Record<ComponentKind, Kind>>> = {
  resistor: {
    rating: random => ({ value: within(random, [10, 100, 1e3, 1e4, 1e5]), tolerance: random.pick([0.01, 0.05, 0.1]) }),
    listed: rating => ({ ...listedValue('resistance', 'Ω')(rating), kind: 'resistor' }),
    main: 'ohm', criterion: 'resistance', edges: byTolerance, spread: 0.001,
  },
  'film-capacitor': capacitor('film', [1e-9, 1e-8, 1e-7], 100, [0.05, 0.1, 0.2]),
  'ceramic-capacitor': capacitor('ceramic-2', [1e-9, 1e-8], 50, [0.1, 0.2]),
  'class-1-capacitor': capacitor('ceramic-1', [1e-10, 1e-9], 50, [0.05, 0.1]),
  'mica-capacitor': capacitor('mica', [1e-10], 500, [0.05]),
  'electrolytic-capacitor': capacitor('electrolytic', [1e-6, 1e-5], 25, [0.2]),
  inductor: {
    rating: random => ({ value: within(random, [1e-3, 1e-2]), tolerance: 0.1 }),
    listed: rating => ({ ...listedValue('inductance', 'H')(rating), kind: 'inductor' }),
    main: 'henry', criterion: 'inductance', edges: byTolerance, spread: 0.005,
  },
  diode: { rating: () => ({ value: 75, tolerance: 0 }), listed: () => ({ kind: 'diode', material: 'silicon', ratedV: 75 }) },
  zener: {
    rating: random => ({ value: random.pick([4.7, 5.1, 6.2, 7.5, 9.1, 12]), tolerance: 0.05 }),
    listed: ({ value, tolerance }) => ({ kind: 'zener', ratedV: value, toleranceMinus: tolerance, tolerancePlus: tolerance }),
    main: 'zenerV', criterion: 'zener voltage', edges: byTolerance, spread: 0.002,
  },
  led: { rating: () => ({ value: 1.9, tolerance: 0.1 }), listed: () => ({ kind: 'led' }) },
  npn: bipolar('npn', 'silicon'), pnp: bipolar('pnp', 'silicon', [60, 110]),
  'npn-germanium': bipolar('npn', 'germanium'), 'pnp-germanium': bipolar('pnp', 'germanium'),
  'n-jfet': field('jfet-n', 6e-3, 3), 'p-jfet': field('jfet-p', 4e-3, 3),
  'n-mosfet': field('mosfet-n', 2, 60), 'p-mosfet': field('mosfet-p', 2.5, 60),
  'n-depletion-mosfet': field('mosfet-n-depletion', 2, 60), 'p-depletion-mosfet': field('mosfet-p-depletion', 2.5, 60),
  'bridge-rectifier': { rating: () => ({ value: 100, tolerance: 0 }), listed: () => ({ kind: 'bridge-rectifier', ratedV: 100 }) },
  'selenium-rectifier': {
    rating: () => ({ value: 125, tolerance: 0, plates: 5 }),
    listed: () => ({ kind: 'diode', material: 'selenium', ratedV: 125, note: '5 plates' }),
  },
  'selenium-bridge': {
    rating: () => ({ value: 50, tolerance: 0, plates: 2 }),
    listed: () => ({ kind: 'bridge-rectifier', material: 'selenium', ratedV: 50, note: '2 plates' }),
  },
  potentiometer: {
    rating: random => ({ value: random.pick([1e4, 1e5]), tolerance: 0.2 }),
    listed: rating => ({ ...listedValue('resistance', 'Ω')(rating), kind: 'potentiometer', note: 'linear' }),
    main: 'ohm', criterion: 'resistance', edges: byTolerance, spread: 0.005,
  },
  'ganged-potentiometer': {
    rating: random => ({ value: random.pick([1e4, 1e5]), tolerance: 0.2 }),
    listed: rating => ({ ...listedValue('resistance', 'Ω')(rating), kind: 'potentiometer', note: 'dual, tracking 2 dB' }),
    main: 'midShare2', criterion: 'tracking', edges: () => [0.38, 0.66], spread: 0.005,
  },
  transformer: {
    rating: () => ({ value: 1, tolerance: 0.3, ratio: 10 }), listed: () => ({ kind: 'transformer', valueText: '10:1' }),
    main: 'ratio', criterion: 'turns ratio', edges: () => [9.7, 10.3], spread: 0.01,
  },
  'tapped-transformer': {
    rating: () => ({ value: 4, tolerance: 0.3, windings: [[230], [12, 12], [6.3]] }),
    listed: () => ({ kind: 'transformer', valueText: '230:12-0-12:6.3' }),
    main: 'turns2.1', criterion: 'turns ratio', edges: () => [12 * 0.97, 12 * 1.03], spread: 0.006,
  },
  contact: {
    rating: () => ({ value: 0.03, tolerance: 1 }), listed: () => ({ kind: 'switch' }),
    main: 'ohm', criterion: 'contact resistance', edges: () => [0.05], spread: 0.3,
  },
}
const kinds = Object.keys(studyKinds) as ComponentKind[]

const defectShare = 0.5
const nearShare = 0.7

/** Part `index` of a study: the same seed and index always give the same part. */
export function drawStudyPart(seed: number, index: number): StudyPart {
  const name = `screening-${seed}-${index}`
  const random = new SeededRandom(name)
  const kind = kinds[index % kinds.length]!
  const study = studyKinds[kind]!
  const rating = study.rating(random)
  const defect = random.next() < defectShare ? random.pick(defectsOf[kind]) : null
  const drawn = makeComponent(kind, rating, name, defect ? { defect } : {})
  const component = defect === null && study.edges && random.next() < nearShare
    ? moved(drawn, study, random, name) : drawn
  return { seed: name, kind, defect, component, line: lineOf(study.listed(rating)) }
}

/** The same part with its main value drawn about an edge. */
function moved(drawn: Component, { main, edges, spread }: Kind, random: SeededRandom, name: string): Component {
  const edge = random.pick(edges!(drawn.truth.rating))
  const value = edge * (1 + spread! * random.normal())
  return new Component({ ...drawn.truth, values: { ...drawn.truth.values, [main!]: value } }, name)
}

const lineOf = (listed: Partial<PartsLine>): PartsLine => ({
  line: 2, designators: ['X1'], quantity: 1, kind: null, kindFrom: 'list', material: null, dielectrics: [],
  safetyClasses: [], valueText: '', value: null, toleranceMinus: null, tolerancePlus: null, ratedV: null, ratedForm: null,
  ratedW: null, tempcoPpmPerK: null, ratingText: '', where: null, note: '', ...listed,
})
