/** Reads what is printed on a part, or written for one: every way it can be read, and none guessed. */
import { emptyDraft, finished, type Draft } from './draft.ts'
import { sorts, type Decoded, type Mark, type MarkProblem, type Sort } from './mark.ts'
import { ratingRules } from './ratings.ts'
import { capacitorRules, inductorRules } from './reactive-values.ts'
import type { Origin, ValueReading, ValueRule } from './reading.ts'
import { resistorRules } from './resistor-values.ts'
import { toleranceLetters } from './tables.ts'

export interface DecodeOptions {
  /** What the part is, where that is known. */
  readonly sort?: Sort | undefined
  /** Codes of figures are printed on parts; in a list a bare number is more often meant as it stands. */
  readonly origin?: Origin
}

const lengthMax = 120
/** A real mark takes some dozens of steps; text made to branch is given up. */
const stepsMax = 4000

const rulesOf: Record<Sort, readonly ValueRule[]> = {
  resistor: resistorRules, capacitor: capacitorRules, inductor: inductorRules,
}

interface Search {
  readonly text: string
  readonly sort: Sort
  readonly isSortSaid: boolean
  readonly origin: Origin
  readonly found: { mark: Mark; isDoubtful: boolean }[]
  /** The problem that lies furthest to the right: what stands left of it was understood. */
  worst: MarkProblem
  steps: number
}

/** One reading in SI units, or every problem and every reading that remains. Never throws. */
export function decode(given: string, { sort, origin = 'part' }: DecodeOptions = {}): Decoded {
  if (given.length > lengthMax) {
    const expected = `at most ${lengthMax} signs`
    return refused([{ column: lengthMax + 1, expected, got: `${given.length}` }])
  }
  const text = plainSigns(given)
  const searches = (sort ? [sort] : sorts).map(one => searched(text, one, sort !== undefined, origin))
  const all = searches.flatMap(({ found }) => found)
  const firm = all.filter(({ isDoubtful }) => !isDoubtful)
  const readings = distinct((firm.length > 0 ? firm : all).map(({ mark }) => mark))
  if (firm.length > 0 && readings.length === 1) return { ok: true, mark: readings[0]! }
  if (readings.length === 0) {
    const worst = searches.map(search => search.worst).reduce((a, b) => b.column > a.column ? b : a)
    return refused([sort || worst.column > 1 ? worst : { ...worst, expected: anyExample }])
  }
  const from = given.search(/\S/)
  const problem = { column: from + 1, expected: wanted(readings), got: shownFrom(given, from) }
  return { ok: false, readings, problems: [problem] }
}

export type DecodedRatings =
  | { readonly ok: true; readonly mark: Mark }
  | { readonly ok: false; readonly problems: readonly MarkProblem[] }

/**
 * What stands beside a value that was read already, like `±5 % 630V`, on a part of `sort` and `value` (SI).
 * The
 * mark has the value given.
 */
export function decodeRatings(given: string, sort: Sort, value: number): DecodedRatings {
  const text = plainSigns(given.slice(0, lengthMax))
  const reading: ValueReading = { sort, value, end: 0, source: 'said beside it' }
  const search = searched(text, sort, true, 'list', { ...emptyDraft, reading })
  const marks = distinct(search.found.map(({ mark }) => mark))
  if (marks.length === 1) return { ok: true, mark: marks[0]! }
  const open = { column: 1, expected: 'what can be read in one way', got: shownFrom(text, 0) }
  return { ok: false, problems: [marks.length > 1 ? open : search.worst] }
}

const refused = (problems: MarkProblem[]): Decoded => ({ ok: false, problems, readings: [] })

function wanted(readings: readonly Mark[]): string {
  if (readings.length === 1) return 'a unit beside the number'
  const isOneSort = readings.every(({ sort }) => sort === readings[0]!.sort)
  return isOneSort ? `a value that can be read in one way, not in ${readings.length}`
    : 'the sort of part beside it: it means something else on each'
}

/** Signs that look alike become one, at the same places. */
export function plainSigns(text: string): string {
  return text.replace(/μ/g, 'µ').replace(/\u2126/g, 'Ω').replace(/[−–]/g, '-')
    .replace(/[\u00a0\u2000-\u200a\u202f\u3000\t]/g, ' ')
}

function searched(
  text: string, sort: Sort, isSortSaid: boolean, origin: Origin, begun: Draft = emptyDraft,
): Search {
  const search: Search = {
    text, sort, isSortSaid, origin, found: [], steps: 0,
    worst: { column: 1, expected: begun.reading ? ratingsOf[sort] : examples[sort], got: shownFrom(text, 0) },
  }
  follow(search, 0, begun)
  return search
}

const examples: Record<Sort, string> = {
  resistor: 'a resistance like 4k7 or 4.7 kΩ', capacitor: 'a capacitance like 4n7, 0.1 µF or 104K',
  inductor: 'an inductance like 10 µH',
}

const anyExample = 'a value like 4k7, 4n7, 104K or 10 µH'

/** Tries everything that can stand at a place, and goes on behind it. */
function follow(search: Search, from: number, draft: Draft): void {
  const at = from + /^(?:[\s/;|()]|,(?!\d)|\.(?=\s|$))*/.exec(search.text.slice(from))![0].length
  if (++search.steps > stepsMax) return
  if (at >= search.text.length) { conclude(search, at, draft); return }
  const before = search.found.length
  if (!draft.reading) {
    for (const reading of valuesAt(search, at)) follow(search, reading.end, { ...draft, reading })
  }
  for (const rule of ratingRules) {
    const step = rule(search.text, at, draft, search.sort)
    if (step) follow(search, step.end, step.draft)
  }
  if (search.found.length === before) blame(search, at, expectedHere(search, draft))
}

function valuesAt({ text, sort, isSortSaid, origin }: Search, at: number): ValueReading[] {
  return rulesOf[sort].flatMap(rule => rule(text, at, origin))
    .filter(({ needsSort, value }) => (isSortSaid || !needsSort) && isPossible(sort, value))
}

/** A link has no ohms; nothing else is nothing. */
function isPossible(sort: Sort, value: number): boolean {
  return (value > 0 || (sort === 'resistor' && value === 0)) && value <= valueMax[sort]
}

/** No bench like this one meets more; 101F is no capacitor of 101 farads. */
const valueMax: Record<Sort, number> = { resistor: 1e15, capacitor: 10, inductor: 1e4 }

function conclude(search: Search, at: number, draft: Draft): void {
  const { reading } = draft
  if (!reading) { blame(search, at, examples[search.sort]); return }
  const mark = finished({ ...draft, reading })
  if (mark) search.found.push({ mark, isDoubtful: reading.isDoubtful === true })
  else blame(search, reading.end - 1, `a tolerance letter: ${toleranceLetters(search.sort).join(' ')}`)
}

function expectedHere({ sort }: Search, draft: Draft): string {
  return draft.reading ? ratingsOf[sort] : examples[sort]
}

const ratingsOf: Record<Sort, string> = {
  resistor: 'a tolerance, watts, volts, ppm/K or the end', inductor: 'a tolerance or the end',
  capacitor: 'a tolerance, volts, a dielectric or the end',
}

function blame(search: Search, at: number, expected: string): void {
  if (at + 1 <= search.worst.column) return
  search.worst = { column: at + 1, expected, got: shownFrom(search.text, at) }
}

function shownFrom(text: string, at: number): string {
  const rest = text.slice(Math.max(0, at)).trim()
  return rest === '' ? 'the end' : `"${rest.length > 24 ? `${rest.slice(0, 23)}…` : rest}"`
}

function distinct(marks: readonly Mark[]): Mark[] {
  const key = ({ notes, source, alternatives, ...said }: Mark): string => JSON.stringify(said)
  return marks.filter((mark, i) => marks.findIndex(other => key(other) === key(mark)) === i)
}
