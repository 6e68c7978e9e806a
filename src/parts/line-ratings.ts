/** Tolerance, ratings and dielectric of a line, from its value and from columns of their own. */
import { decodeRatings } from '../marks/decode.ts'
import { noRatings, type Mark, type Ratings, type Sort } from '../marks/mark.ts'
import { voltsAt } from '../marks/ratings.ts'
import type { ListedDielectric, PartsLine } from '../schema/parts-list.ts'
import type { Column } from './headings.ts'
import { kindOfWords } from './kinds.ts'
import { quoted, type Told } from './told.ts'

export interface LineRatings extends Ratings {
  readonly dielectrics: readonly ListedDielectric[]
  readonly material: PartsLine['material']
  readonly ratingText: string
}

const ownColumns = ['tolerance', 'rating', 'voltage', 'power'] as const satisfies readonly Column[]
/** A bare number takes the unit that its heading promises; `rating` promises none. */
const promised: Readonly<Record<(typeof ownColumns)[number], string>> = {
  tolerance: ' %', voltage: ' V', power: ' W', rating: '',
}
/** Tolerance letters mean the same from here up; used where the value itself could not be read. */
const anyValue: Record<Sort, number> = { resistor: 1, capacitor: 1e-6, inductor: 1e-6 }

/** What the value says and the columns add; a column that contradicts is told and does not count. */
export function readRatings(told: Told, sort: Sort | undefined, mark: Mark | null): LineRatings {
  const begun: LineRatings = {
    ...noRatings, ...(mark ? ratingsOf(mark) : {}), material: null, ratingText: '',
    dielectrics: mark?.dielectric ? [mark.dielectric] : [],
  }
  const made = readDielectric(told, sort, sort === undefined ? withVolts(told, begun) : begun)
  const value = sort && (mark?.value ?? anyValue[sort])
  const filled = ownColumns.filter(column => told.left(column).trim() !== '')
  return filled.reduce((all, column) => sort === undefined
    ? withPlain(told, column, all) : withColumn(told, column, { sort, value: value! }, all), made)
}

function ratingsOf(mark: Mark): Ratings {
  return Object.fromEntries(ratingKeys.map(key => [key, mark[key]])) as unknown as Ratings
}
const ratingKeys = Object.keys(noRatings) as (keyof Ratings)[]

function withColumn(
  told: Told, column: (typeof ownColumns)[number], of: { sort: Sort; value: number }, all: LineRatings,
): LineRatings {
  const text = told.text(column)
  const isBare = /^\s*\d+(?:[.,]\d+)?\s*$/.test(text)
  const whole = isBare ? text.trimEnd() + promised[column] : text
  const decoded = decodeRatings(whole, of.sort, of.value)
  if (!decoded.ok) {
    for (const { column: at, expected, got } of decoded.problems) told.wrong(column, expected, got, at - 1)
    return all
  }
  for (const { why } of decoded.mark.alternatives) told.remarks.push(`it may mean something else: ${why}`)
  return merged(told, column, all, ratingsOf(decoded.mark))
}

/** Of a part without a value: a value cell that holds volts alone, as of a zener, is its rating. */
function withVolts(told: Told, all: LineRatings): LineRatings {
  const text = told.text('value').trim()
  const volts = voltsAt(text, 0)
  return volts && volts.end >= text.length
    ? { ...all, ratedV: volts.ratedV, ratedForm: volts.ratedForm } : all
}

/**
 * Of a part without a value: volts are volts, a tolerance is one, anything else is kept as it stands.
 */
function withPlain(told: Told, column: (typeof ownColumns)[number], all: LineRatings): LineRatings {
  const text = told.left(column).trim()
  const volts = voltsAt(/^\d+(?:[.,]\d+)?$/.test(text) && column === 'voltage' ? `${text} V` : text, 0)
  if (volts && volts.end >= text.length && column !== 'tolerance') {
    return merged(told, column, all, { ...noRatings, ratedV: volts.ratedV, ratedForm: volts.ratedForm })
  }
  const share = column === 'tolerance' ? /^(?:±|\+-)?\s*(\d{1,2}(?:[.,]\d+)?)\s*%?$/.exec(text) : null
  if (share) {
    const tolerance = Number(share[1]!.replace(',', '.')) / 100
    return merged(told, column, all, { ...noRatings, toleranceMinus: tolerance, tolerancePlus: tolerance })
  }
  return { ...all, ratingText: [all.ratingText, text].filter(Boolean).join('; ') }
}

function merged(told: Told, column: Column, all: LineRatings, more: Ratings): LineRatings {
  const clash = ratingKeys.filter(key => key !== 'safetyClasses' && key !== 'ratedForm' && all[key] !== null
    && more[key] !== null && JSON.stringify(all[key]) !== JSON.stringify(more[key]))
  if (clash.length > 0) {
    told.wrong(column, 'the same as elsewhere in the line', quoted(told.text(column)))
    return all
  }
  const added = Object.fromEntries(ratingKeys.filter(key => more[key] !== null).map(key => [key, more[key]]))
  return {
    ...all, ...added, safetyClasses: [...new Set([...all.safetyClasses, ...more.safetyClasses])],
    dielectrics: [...new Set([...all.dielectrics, ...more.dielectric ? [more.dielectric] : []])],
  }
}

/** The column for what a part is made of: of a capacitor its dielectric, of a semiconductor its material. */
function readDielectric(told: Told, sort: Sort | undefined, all: LineRatings): LineRatings {
  if (!told.has('dielectric')) return all
  const text = told.text('dielectric')
  const said = kindOfWords(text)
  if (said.material !== null && said.unknown.length === 0) return { ...all, material: said.material }
  const safetyClasses = (text.match(/\b[XY][1-4]?\b/gi) ?? []).map(name => name.toUpperCase())
  if (sort === 'capacitor' && said.unknown.length === 0 && said.dielectrics.length > 0) {
    return {
      ...all, safetyClasses: [...new Set([...all.safetyClasses, ...safetyClasses])],
      dielectrics: [...new Set([...all.dielectrics, ...said.dielectrics])],
    }
  }
  if (sort === undefined) return { ...all, ratingText: text.trim() }
  const decoded = decodeRatings(text, sort, anyValue[sort])
  if (decoded.ok) return merged(told, 'dielectric', all, ratingsOf(decoded.mark))
  for (const problem of decoded.problems) {
    told.wrong('dielectric', problem.expected, problem.got, problem.column - 1)
  }
  return all
}
