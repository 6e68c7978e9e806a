/** What is printed on a part, once read: types only. */

export const sorts = ['resistor', 'capacitor', 'inductor'] as const
/** What sort of part carries the mark; one sign means different things on each. */
export type Sort = (typeof sorts)[number]

export type Quantity = 'resistance' | 'capacitance' | 'inductance'

export type Dielectric =
  'film' | 'ceramic-1' | 'ceramic-2' | 'mica' | 'paper' | 'electrolytic' | 'tantalum'

/** What a mark says beside its value. Tolerances are shares of the value, both 0 or more. */
export interface Ratings {
  readonly toleranceMinus: number | null
  readonly tolerancePlus: number | null
  readonly ratedV: number | null
  /** Whether the volts are said to be of alternating or direct voltage; null where the mark says neither. */
  readonly ratedForm: 'ac' | 'dc' | null
  readonly ratedW: number | null
  /** Of a resistor the most it drifts either way, of a class 1 ceramic the drift it is made for. */
  readonly tempcoPpmPerK: number | null
  readonly dielectric: Dielectric | null
  /** Classes of mains suppression, like X2. */
  readonly safetyClasses: readonly string[]
  /** Of a class 2 ceramic: where it may work, and how far its capacitance strays there, as shares. */
  readonly classTwo: ClassTwo | null
}

export interface ClassTwo {
  readonly minC: number
  readonly maxC: number
  readonly changeMinus: number
  readonly changePlus: number
}

/** Another meaning that one of the signs may have, and what it would change. */
export interface Alternative {
  readonly why: string
  readonly change: Partial<Ratings & { value: number }>
}

/** One reading of a mark, in SI units. A field that two sources read differently is null, and told below. */
export interface Mark extends Ratings {
  readonly sort: Sort
  readonly quantity: Quantity
  readonly value: number
  readonly unit: 'Ω' | 'F' | 'H'
  readonly alternatives: readonly Alternative[]
  readonly notes: readonly string[]
  /** Where the rule of this reading comes from. */
  readonly source: string
}

/** Column counts signs of a text, or bands, from 1. */
export interface MarkProblem {
  readonly column: number
  readonly expected: string
  readonly got: string
}

/** One reading, or what is wrong; where a mark can be read in several ways, all of them and none chosen. */
export type Decoded =
  | { readonly ok: true; readonly mark: Mark }
  | { readonly ok: false; readonly problems: readonly MarkProblem[]; readonly readings: readonly Mark[] }

export const quantityOf: Record<Sort, Quantity> = {
  resistor: 'resistance', capacitor: 'capacitance', inductor: 'inductance',
}
export const unitOf: Record<Sort, Mark['unit']> = { resistor: 'Ω', capacitor: 'F', inductor: 'H' }

export const noRatings: Ratings = {
  toleranceMinus: null, tolerancePlus: null, ratedV: null, ratedForm: null, ratedW: null,
  tempcoPpmPerK: null, dielectric: null, safetyClasses: [], classTwo: null,
}
