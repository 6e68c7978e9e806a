/**
 * Which parts sit where, and what the truth about each is: revealed at the end of a demo, held against grades
 * in tests.
 */
import type { PartKind, MakeOptions } from '../parts/make-part.ts'
import type { Rated } from '../parts/truth.ts'

export interface ScenarioPart {
  /** Position name, P01 … */
  readonly position: string
  /** The part's own id. */
  readonly id: string
  readonly kind: PartKind
  readonly options: MakeOptions
  /** What a right judgement says in the end; several where honest runs may differ. */
  readonly grades: readonly ('accept' | 'marginal' | 'reject' | 'cannot tell')[]
  readonly dispositions: readonly ('use' | 'form' | 'replace' | 'retest')[]
  /** One sentence for a person. */
  readonly truth: string
}

export interface Scenario {
  readonly name: string
  readonly description: string
  readonly seed: number
  readonly rated: Rated
  /** Part profile that all parts are of. */
  readonly partProfile: string
  readonly parts: readonly ScenarioPart[]
  /** A known resistor on one more position, for bench-check; ohm. */
  readonly dummyOhm: number
  /** One part, wired to one supply and one meter for good: no relays, no cutoff, no meter on the bus. */
  readonly single?: boolean
  readonly ambientC: number
  readonly cadence?: Readonly<Record<string, number>>
}

/** P01, P02, … P480. */
export const positionName = (index: number): string => `P${String(index + 1).padStart(2, '0')}`

type Verdict = Pick<ScenarioPart, 'grades' | 'dispositions' | 'truth'>

/** What is right to say of each kind. */
export const verdicts: Readonly<Record<PartKind, Verdict>> = {
  healthy: { grades: ['accept'], dispositions: ['use'], truth: 'sound; only its absorption is asleep' },
  stale: {
    grades: ['accept', 'marginal'], dispositions: ['use'],
    truth: 'de-formed by years of rest, forms back in one night',
  },
  'very-stale': {
    grades: ['reject', 'cannot tell'], dispositions: ['form', 'retest'],
    truth: 'de-formed so far that it needs another night',
  },
  'hopeless-leaky': {
    grades: ['reject'], dispositions: ['replace'],
    truth: 'leaks through attacked oxide; forming does not help it',
  },
  'dried-out': {
    grades: ['reject'], dispositions: ['replace'],
    truth: 'electrolyte gone: little capacitance, high resistance',
  },
  shorting: {
    grades: ['reject'], dispositions: ['replace'], truth: 'breaks down to a short at 70 % of rated voltage',
  },
  scintillating: {
    grades: ['reject', 'cannot tell'], dispositions: ['replace', 'retest'],
    truth: 'flashes over inside, again and again',
  },
  overheating: { grades: ['reject'], dispositions: ['replace'], truth: 'runs hot until it gives way' },
  opening: {
    grades: ['cannot tell', 'reject'], dispositions: ['retest', 'replace'],
    truth: 'its inner connection breaks under voltage',
  },
  'bad-contact': {
    grades: ['cannot tell'], dispositions: ['retest'],
    truth: 'its contact fails during the night: nothing can be said',
  },
  reversed: {
    grades: ['cannot tell', 'reject'], dispositions: ['retest', 'replace'],
    truth: 'put in the wrong way round',
  },
}
