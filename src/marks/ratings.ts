/** What stands beside a value: tolerance, volts, watts, temperature coefficient, dielectric, safety class. */
import { decimal, scaled } from './decimal.ts'
import type { Draft } from './draft.ts'
import type { Sort } from './mark.ts'
import { endsWord, matchAt } from './reading.ts'
import { classTwoOf, codeV, letterMeanings, wordMeaning, type Tolerance } from './tables.ts'

/** The draft with what stood at a place, and where the text goes on; null where no such thing stands. */
export type RatingRule =
  (text: string, at: number, draft: Draft, sort: Sort) => { draft: Draft; end: number } | null

const evenPercent = new RegExp(String.raw`(?:±|\+\/-|\+-)?\s*(${decimal})\s*%`, 'y')
const skewPercent =
  new RegExp(String.raw`([+-])\s*(${decimal})\s*%?\s*\/?\s*([+-])\s*(${decimal})\s*%`, 'y')
const evenFarads = new RegExp(String.raw`(?:±|\+\/-|\+-)\s*(${decimal})\s*([pP])[fF]`, 'y')

/** A tolerance in figures at a place; null where none stands or where it cannot be one. */
function toleranceAt(text: string, at: number): { tolerance: Tolerance; end: number } | null {
  const skew = matchAt(skewPercent, text, at)
  if (skew && skew.groups[0] !== skew.groups[2]) {
    const [, first = '', second, other = ''] = skew.groups
    const [minus, plus] = second === '+' ? [first, other] : [other, first]
    return bounded({ minus: scaled(minus, -2), plus: scaled(plus, -2) }, skew.end)
  }
  const even = matchAt(evenPercent, text, at)
  if (even && endsWord(text, even.end)) {
    const share = scaled(even.groups[0]!, -2)
    return bounded({ minus: share, plus: share }, even.end)
  }
  const farads = matchAt(evenFarads, text, at)
  if (!farads || !endsWord(text, farads.end)) return null
  const either = scaled(farads.groups[0]!, -12)
  return { tolerance: { minus: either, plus: either, isFarads: true }, end: farads.end }
}

/** Nothing is more than all below its value; more than ten times above it is a slip of the pen. */
function bounded(tolerance: Tolerance, end: number): { tolerance: Tolerance; end: number } | null {
  return tolerance.minus > 1 || tolerance.plus > 10 ? null : { tolerance, end }
}

const tolerance: RatingRule = (text, at, draft, sort) => {
  if (draft.tolerance || draft.letter !== undefined || draft.reading?.letter !== undefined) return null
  const figures = toleranceAt(text, at)
  if (figures && figures.tolerance.isFarads && sort !== 'capacitor') return null
  return figures && { draft: { ...draft, tolerance: figures.tolerance }, end: figures.end }
}

const letterPattern = /([A-Z])/y
const loneLetter: RatingRule = (text, at, draft, sort) => {
  if (draft.tolerance || draft.letter !== undefined || !draft.reading || draft.reading.letter !== undefined) {
    return null
  }
  const match = matchAt(letterPattern, text, at)
  if (!match || !endsWord(text, match.end)) return null
  const letter = match.groups[0]!
  if (letterMeanings(sort, letter, draft.reading.value).length === 0) return null
  return { draft: { ...draft, letter }, end: match.end }
}

const voltsPattern = new RegExp(
  String.raw`(${decimal})\s*([kK]?)(?:W\s?)?[Vv](\d{1,3}|olts?)?(?:\s*(DCW?|ACW?|dc|ac|Dc|Ac|~|=|⎓|W))?`, 'y')

export interface Volts {
  readonly ratedV: number
  readonly ratedForm: 'ac' | 'dc' | null
  readonly end: number
}

/** Volts at a place, like `630V`, `6V3`, `275 V~`, `400 WVDC`, `1.5kV`; null where none stand. */
export function voltsAt(text: string, at: number): Volts | null {
  const match = matchAt(voltsPattern, text, at)
  if (!match || !endsWord(text, match.end)) return null
  const [figures = '', kilo = '', after = '', form = ''] = match.groups
  const isSplit = /^\d/.test(after)
  if (isSplit && /[.,]/.test(figures)) return null
  const ratedV = scaled(isSplit ? `${figures}.${after}` : figures, kilo === '' ? 0 : 3)
  if (!(ratedV > 0) || ratedV > 1e6) return null
  const isAc = /^ac|~/i.test(form)
  return { ratedV, ratedForm: isAc ? 'ac' : /^dc|=|⎓/i.test(form) ? 'dc' : null, end: match.end }
}

const volts: RatingRule = (text, at, draft) => {
  const found = draft.ratedV === undefined && !draft.reading?.voltageCode ? voltsAt(text, at) : null
  if (!found) return null
  const { ratedV, ratedForm, end } = found
  return { draft: { ...draft, ratedV, ratedForm }, end }
}

const codePattern = /([0-3][A-Z])/y
const voltageCode: RatingRule = (text, at, draft, sort) => {
  const isOpen = draft.ratedV === undefined && draft.reading?.isCode && !draft.reading.voltageCode
  const match = isOpen && sort === 'capacitor' ? matchAt(codePattern, text, at) : null
  const ratedV = match && endsWord(text, match.end) ? codeV(match.groups[0]!) : undefined
  if (!match || ratedV === undefined) return null
  return {
    draft: { ...draft, ratedV, sources: [...draft.sources, 'volts: EIA code (read)'] }, end: match.end,
  }
}

const wattsPattern =
  new RegExp(String.raw`(?:(\d{1,3})\s*\/\s*(\d{1,3})|([½¼⅛])|(${decimal}))\s*(m?)[Ww](?:atts?)?`, 'y')

const fractions: Readonly<Record<string, number>> = { '½': 0.5, '¼': 0.25, '⅛': 0.125 }

/** Watts at a place, like `0.25W`, `1/4 W`, `250mW`; null where none stand. */
function wattsAt(text: string, at: number): { ratedW: number; end: number } | null {
  const match = matchAt(wattsPattern, text, at)
  if (!match || !endsWord(text, match.end)) return null
  const [above, below, fraction, figures = '', milli = ''] = match.groups
  const whole = above !== undefined ? Number(above) / Number(below)
    : fraction !== undefined ? fractions[fraction]! : scaled(figures, milli === '' ? 0 : -3)
  return whole > 0 && whole < 1e5 ? { ratedW: whole, end: match.end } : null
}

const watts: RatingRule = (text, at, draft, sort) => {
  const found = sort === 'resistor' && draft.ratedW === undefined ? wattsAt(text, at) : null
  return found && { draft: { ...draft, ratedW: found.ratedW }, end: found.end }
}

const tempcoPattern = /(?:±|\+\/-|\+-)?\s*(\d{1,4})\s*ppm(?:\s*\/\s*(?:°\s?)?[CK])?/y
const tempco: RatingRule = (text, at, draft) => {
  const match = draft.tempcoPpmPerK === undefined ? matchAt(tempcoPattern, text, at) : null
  if (!match || !endsWord(text, match.end)) return null
  return { draft: { ...draft, tempcoPpmPerK: Number(match.groups[0]) }, end: match.end }
}

const wordPattern = /([A-Za-z][A-Za-z0-9]{0,15})/y
const word: RatingRule = (text, at, draft, sort) => {
  const match = matchAt(wordPattern, text, at)
  if (!match || !endsWord(text, match.end)) return null
  const { end } = match
  const said = match.groups[0]!
  if (sort === 'capacitor') {
    const ceramic = classTwoOf(said.toUpperCase())
    if (ceramic && !draft.classTwo && !draft.dielectric) return { draft: withClassTwo(draft, ceramic), end }
    if (/^(X[123]|Y[124])$/.test(said)) {
      return { draft: { ...draft, safetyClasses: [...new Set([...draft.safetyClasses, said])] }, end }
    }
    const [, direction, drift] = /^([NP])(\d{2,4})$/.exec(said) ?? []
    if (drift && draft.tempcoPpmPerK === undefined) return { draft: withDrift(draft, direction!, drift), end }
  }
  const meaning = wordMeaning(sort, said.toLowerCase())
  if (meaning === undefined || (meaning && draft.dielectric && meaning !== draft.dielectric)) return null
  if (meaning) return { draft: { ...draft, dielectric: meaning }, end }
  return { draft: { ...draft, notes: [...draft.notes, `says ${said}`] }, end }
}

const classTwoSource = 'dielectric: EIA letters of class 2 (read)'
function withClassTwo(draft: Draft, classTwo: Draft['classTwo'] & object): Draft {
  return { ...draft, classTwo, sources: [...draft.sources, classTwoSource] }
}

function withDrift(draft: Draft, direction: string, figures: string): Draft {
  return {
    ...draft, dielectric: 'ceramic-1', tempcoPpmPerK: (direction === 'N' ? -1 : 1) * Number(figures),
    sources: [...draft.sources, 'temperature coefficient: N falling, P rising, in ppm/K (common practice)'],
  }
}

export const ratingRules: readonly RatingRule[] = [
  tolerance, volts, voltageCode, watts, tempco, word, loneLetter,
]
