/** Reads the colours of bands and dots, from the end that is read first. */
import {
  colourName, colourNames, colourOf, filmBandPercent, filmBandV, tantalumPower, tantalumV, type Colour,
} from './colours.ts'
import { scaled } from './decimal.ts'
import {
  noRatings, quantityOf, unitOf, type Alternative, type Decoded, type Dielectric, type Mark, type MarkProblem,
  type Ratings, type Sort,
} from './mark.ts'

export interface BandOptions {
  readonly sort?: Sort | undefined
  /** Film parts and tantalum beads carry colours of their own meaning. */
  readonly dielectric?: Dielectric | undefined
}

/** A reading, or the first band that does not fit. */
type Try = { mark: Mark } | { problem: MarkProblem }

/**
 * One reading of the bands in SI units, or what is wrong (column is the band, from 1), or every reading where
 * film and tantalum would both do. Without a sort a resistor is meant.
 */
export function decodeBands(words: readonly string[], { sort, dielectric }: BandOptions = {}): Decoded {
  const strange = words.flatMap((word, i): MarkProblem[] => colourName(word) === undefined
    ? [{ column: i + 1, expected: `one of ${colourNames.join(', ')}`, got: `"${word.slice(0, 20)}"` }] : [])
  if (strange.length > 0) return { ok: false, problems: strange, readings: [] }
  const names = words.map(word => colourName(word)!)
  const tries = (sort ?? 'resistor') === 'capacitor' || dielectric !== undefined
    ? capacitorTries(names, dielectric) : sort === 'inductor' ? [noTable] : [resistor(names)]
  const readings = tries.flatMap(one => 'mark' in one ? [one.mark] : [])
  if (readings.length === 1) return { ok: true, mark: readings[0]! }
  if (readings.length > 1) {
    const got = names.join(', ')
    return { ok: false, readings, problems: [{ column: 1, expected: 'film or tantalum beside it', got }] }
  }
  return { ok: false, readings, problems: tries.flatMap(one => 'problem' in one ? [one.problem] : []) }
}

const noTable: Try = {
  problem: {
    column: 1, expected: 'a resistor or a capacitor: no table of coil colours was read', got: 'an inductor',
  },
}

function capacitorTries(names: readonly string[], dielectric: Dielectric | undefined): Try[] {
  if (dielectric === 'film') return [film(names)]
  if (dielectric === 'tantalum') return [tantalum(names)]
  if (dielectric === undefined) return [film(names), tantalum(names)]
  return [{ problem: { column: 1, expected: 'film or tantalum', got: dielectric } }]
}

const wrong = (names: readonly string[], at: number, expected: string): { problem: MarkProblem } =>
  ({ problem: { column: at + 1, expected, got: names[at] ?? `${names.length} bands` } })

function markOf(sort: Sort, value: number, ratings: Partial<Ratings>, more: Partial<Mark>): Mark {
  return {
    ...noRatings, ...ratings, sort, quantity: quantityOf[sort], value, unit: unitOf[sort], alternatives: [],
    notes: [], source: bandSource, ...more,
  }
}
const bandSource = 'colours of IEC 60062 (read second-hand)'

/** Three, four, five or six bands; one black band is a link. */
function resistor(names: readonly string[]): Try {
  if (names.length === 1 && names[0] === 'black') {
    return { mark: markOf('resistor', 0, {}, { source: 'one black band is a link (common practice)' }) }
  }
  if (names.length < 3 || names.length > 6) return wrong(names, names.length, 'three to six bands')
  const direct = resistorAs(names, names.length > 4 ? 3 : 2)
  const extra = names.length === 5 ? resistorAs(names.slice(0, 4), 2) : null
  const fifth = 'four bands and a fifth for failure rate or solderability, on old parts (from memory)'
  if ('problem' in direct) {
    return extra && 'mark' in extra ? { mark: { ...extra.mark, notes: [fifth] } } : direct
  }
  const reversed = names.length > 4 ? resistorAs([...names].reverse(), 3) : null
  const others = [...alternativeOf(extra, fifth), ...alternativeOf(reversed, 'read from the other end')]
  return { mark: { ...direct.mark, alternatives: [...direct.mark.alternatives, ...others] } }
}

function alternativeOf(other: Try | null, why: string): Alternative[] {
  if (!other || !('mark' in other)) return []
  const { value, toleranceMinus, tolerancePlus, tempcoPpmPerK } = other.mark
  return [{ why, change: { value, toleranceMinus, tolerancePlus, tempcoPpmPerK } }]
}

function resistorAs(names: readonly string[], digits: number): Try {
  const list = names.map(colourOf)
  const figures = figuresOf(list, digits)
  if (typeof figures === 'number') return wrong(names, figures, 'a colour that is a figure')
  const value = scaled(figures, list[digits]!.power)
  const toleranceBand = list[digits + 1]
  if (toleranceBand && toleranceBand.tolerances.length === 0) {
    return wrong(names, digits + 1, 'a colour that is a tolerance')
  }
  const tempcoBand = list[digits + 2]
  if (tempcoBand && tempcoBand.tempcoPpmPerK === null) {
    return wrong(names, digits + 2, 'a colour that is a temperature coefficient')
  }
  const tolerances = toleranceBand?.tolerances ?? [{ percent: 20, why: 'no fourth band' }]
  const only = tolerances.length === 1 ? evenly(tolerances[0]!.percent) : {}
  const alternatives = tolerances.length === 1 ? []
    : tolerances.map(({ percent, why }) => ({ why, change: evenly(percent) }))
  const special = tolerances.length === 1 && tolerances[0]!.why !== bandSource ? tolerances : []
  const notes = special.map(({ why }) => `tolerance: ${why}`)
  return {
    mark: markOf('resistor', value, { ...only, tempcoPpmPerK: tempcoBand?.tempcoPpmPerK ?? null },
      { alternatives, notes }),
  }
}

/** Figures of the first bands as text, or the place of a band that is none. No value begins with black. */
function figuresOf(list: readonly Colour[], digits: number): string | number {
  const bad = list.slice(0, digits).findIndex(({ digit }, i) => digit === null || (i === 0 && digit === 0))
  return bad >= 0 ? bad : list.slice(0, digits).map(({ digit }) => digit).join('')
}

const evenly = (percent: number): Partial<Ratings> => {
  const share = scaled(String(percent), -2)
  return { toleranceMinus: share, tolerancePlus: share }
}

const filmSource = 'tolerances and volts of banded film parts (read), order of bands from common practice'
/** Two figures and a power of ten in picofarads, then tolerance and volts where they stand. */
function film(names: readonly string[]): Try {
  if (names.length < 3 || names.length > 5) return wrong(names, names.length, 'three to five bands on film')
  const list = names.map(colourOf)
  const figures = figuresOf(list, 2)
  if (typeof figures === 'number') return wrong(names, figures, 'a colour that is a figure')
  const { power } = list[2]!
  if (power < 0 || power > 5) return wrong(names, 2, 'black to green for the power of ten')
  const percent = names[3] === undefined ? undefined : filmBandPercent[names[3]]
  if (names[3] !== undefined && percent === undefined) {
    return wrong(names, 3, 'black, white or green for a tolerance')
  }
  const ratedV = names[4] === undefined ? null : filmBandV[names[4]]
  if (ratedV === undefined) return wrong(names, 4, 'brown, red or yellow for volts')
  const ratings = { ...percent === undefined ? {} : evenly(percent), ratedV, dielectric: 'film' as const }
  return { mark: markOf('capacitor', scaled(figures, power - 12), ratings, { source: filmSource }) }
}

const tantalumSource = 'dot and volts of tantalum beads (read); another page has other volts'
/** Two figures, the dot for the power of ten in microfarads, and volts where they stand. */
function tantalum(names: readonly string[]): Try {
  if (names.length < 3 || names.length > 4) return wrong(names, names.length, 'three or four colours')
  const figures = figuresOf(names.map(colourOf), 2)
  if (typeof figures === 'number') return wrong(names, figures, 'a colour that is a figure')
  const power = tantalumPower[names[2]!]
  if (power === undefined) return wrong(names, 2, `${Object.keys(tantalumPower).join(', ')} for the dot`)
  const ratedV = names[3] === undefined ? null : tantalumV[names[3]]
  if (ratedV === undefined) return wrong(names, 3, `${Object.keys(tantalumV).join(', ')} for volts`)
  const ratedForm = ratedV === null ? null : 'dc'
  const ratings = { ratedV, ratedForm, dielectric: 'tantalum' } as const
  return { mark: markOf('capacitor', scaled(figures, power - 6), ratings, { source: tantalumSource }) }
}
