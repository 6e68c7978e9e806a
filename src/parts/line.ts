/** Reads one line of a parts list: nothing is filled in, and everything that cannot be read is told. */
import { seriesRemark } from '../marks/eseries.ts'
import { written } from '../marks/written.ts'
import { expandDesignators, letterOf } from '../schema/designators.ts'
import { aKind, partsMost, type ListedDielectric, type PartsLine } from '../schema/parts-list.ts'
import { kindOfWords, kindsOfLetter, nearKind } from './kinds.ts'
import { mainsPlaces, placeOf } from './places.ts'
import { readLimits } from './line-limits.ts'
import { readRatings, type LineRatings } from './line-ratings.ts'
import { readValue, sortOfKind, type LineValue } from './line-value.ts'
import { quoted, Told, type Row } from './told.ts'

export interface ReadLine { readonly part: PartsLine | null; readonly told: Told }

type Kind = Pick<PartsLine, 'kind' | 'kindFrom' | 'material' | 'safetyClasses'> & {
  readonly dielectrics: readonly ListedDielectric[]
}

/** The part, or null where it cannot be said which parts the line is of; problems and remarks in `told`. */
export function readLine(file: string, row: Row): ReadLine {
  const told = new Told(file, row)
  const designators = readDesignators(told)
  const kind = readKind(told, designators)
  const value = readValue(told, kind.kind === null ? undefined : sortOfKind(kind.kind), kind.kind)
  const quantity = readQuantity(told, designators, value.count)
  const kindByValue: Kind = kind.kind === null && designators.length === 0 && value.mark
    ? { ...kind, kind: value.mark.sort, kindFrom: 'value' } : kind
  const sort = kindByValue.kind === null ? undefined : sortOfKind(kindByValue.kind)
  const limits = readLimits(told, kindByValue.kind)
  const ratings = readRatings(told, sort, value.mark)
  tellOddValue(told, value, ratings)
  if (quantity === null) return { part: null, told }
  const part = partOf(told, { designators, quantity, kind: kindByValue, value, ratings })
  return { part: limits.length === 0 ? part : { ...part, limits }, told }
}

function partOf(told: Told, { designators, quantity, kind, value, ratings }: {
  designators: string[]; quantity: number; kind: Kind; value: LineValue; ratings: LineRatings
}): PartsLine {
  const { toleranceMinus, tolerancePlus, ratedV, ratedForm, ratedW, tempcoPpmPerK } = ratings
  const safetyClasses = [...new Set([...kind.safetyClasses, ...ratings.safetyClasses])]
  const { mark } = value
  return {
    line: told.row.line, designators, quantity, kind: kind.kind, kindFrom: kind.kindFrom,
    material: ratings.material ?? kind.material,
    dielectrics: allDielectrics(told, kind, ratings, safetyClasses),
    safetyClasses, valueText: value.text,
    value: mark && { quantity: mark.quantity, si: mark.value, unit: mark.unit },
    toleranceMinus, tolerancePlus, ratedV, ratedForm, ratedW, tempcoPpmPerK, ratingText: ratings.ratingText,
    where: readPlace(told, kind.kind), note: told.text('note').trim(),
  }
}

/** A capacitor that has to do with the mains must be said to sit across them or to earth. */
function readPlace(told: Told, kind: PartsLine['kind']): string | null {
  if (!told.has('where')) return null
  const place = placeOf(told.text('where'))
  if (kind === 'capacitor' && /mains/.test(place) && !(mainsPlaces as readonly string[]).includes(place)) {
    const expected = 'across the mains, mains to earth, or a place that does not name the mains'
    told.wrong('where', expected, quoted(told.text('where')))
  }
  return place
}

function readDesignators(told: Told): string[] {
  const { names, problems } = expandDesignators(told.text('designator'))
  for (const { expected, got } of problems) told.wrong('designator', expected, got)
  return [...names]
}

/** How many parts the line is about; null, told, where designators and quantity do not say so or disagree. */
function readQuantity(told: Told, designators: readonly string[], counted: number | null): number | null {
  const before = told.problems.length
  const text = told.text('quantity').trim()
  const given = /^\d{1,6}$/.test(text) ? Number(text) : null
  const isBad = text !== '' && (given === null || given < 1 || given > partsMost)
  if (isBad) told.wrong('quantity', `a whole number from 1 to ${partsMost}`, quoted(text))
  const isNoCount = counted !== null && (counted < 1 || counted > partsMost)
  if (isNoCount) told.wrong('value', `a count from 1 to ${partsMost}`, quoted(String(counted)))
  const said = [...counted === null || isNoCount ? [] : [counted], ...given === null || isBad ? [] : [given]]
  if (said.length === 2 && said[0] !== said[1]) {
    told.wrong('quantity', `${counted} as the value says`, `${given}`)
  }
  const badNames = told.problems.some(({ path }) => path === 'designator')
  if (designators.length > 0 && !badNames && said.length > 0 && said[0] !== designators.length) {
    told.wrong('quantity', `${designators.length}, as there are so many designators`, `${said[0]}`)
  }
  if (designators.length > 0) return designators.length
  if (said.length === 0 && !badNames && told.problems.length === before) {
    told.wrong('designator', 'designators, or a quantity', 'neither')
  }
  return said[0] ?? null
}

function readKind(told: Told, designators: readonly string[]): Kind {
  const text = told.text('kind')
  if (text.trim() === '') return kindByLetters(told, designators)
  const { kind, dielectrics, material, open, unknown } = kindOfWords(text)
  for (const word of unknown) {
    const near = nearKind(word)
    told.wrong('kind', near === undefined ? 'a kind of part' : `a kind of part: did you mean ${near}?`,
      quoted(word), Math.max(0, text.toLowerCase().indexOf(word)))
  }
  if (open !== null) told.wrong('kind', open, quoted(text))
  // Words like "ceramic" alone say no kind; the letters may.
  if (kind === null && open === null && unknown.length === 0) {
    return { ...kindByLetters(told, designators), material }
  }
  const usual = designators.flatMap(name => kindsOfLetter(letterOf(name)))
  if (kind !== null && usual.length > 0 && !usual.includes(kind)) {
    const letter = letterOf(designators[0]!)
    told.remarks.push(`${aKind(kind)} by the list, though the letter ${letter} says otherwise`)
  }
  const safetyClasses = (text.match(/\b[XY][1-4]?\b/gi) ?? []).map(name => name.toUpperCase())
  return {
    kind, kindFrom: kind === null ? null : 'list', material, safetyClasses,
    dielectrics: kind === 'capacitor' ? dielectrics : [],
  }
}

const noKind: Kind = { kind: null, kindFrom: null, material: null, safetyClasses: [], dielectrics: [] }

/** A kind proposed by the letters of the designators; several or none are asked for. */
function kindByLetters(told: Told, designators: readonly string[]): Kind {
  if (designators.length === 0) return noKind
  const letters = [...new Set(designators.map(letterOf))]
  const kinds = [...new Set(letters.flatMap(kindsOfLetter))]
  if (kinds.length === 1) return { ...noKind, kind: kinds[0]!, kindFrom: 'letter' }
  const expected = kinds.length === 0 ? 'a kind of part' : `a kind of part: ${kinds.join(', ')}`
  told.wrong('kind', expected, `nothing beside the letter ${letters.join(' and ')}`)
  return noKind
}

/** Everything said of what a capacitor is made of; two materials at once are told. */
function allDielectrics(
  told: Told, kind: Kind, ratings: LineRatings, safetyClasses: readonly string[],
): ListedDielectric[] {
  const all = new Set<ListedDielectric>([...kind.dielectrics, ...ratings.dielectrics])
  if (kind.kind !== 'capacitor') return []
  if (safetyClasses.some(name => name.startsWith('X'))) all.add('class-x')
  if (safetyClasses.some(name => name.startsWith('Y'))) all.add('class-y')
  const made = [...all].filter(name => !name.startsWith('class'))
  if (made.length > 1) told.wrong('dielectric', 'one dielectric', made.join(' and '))
  return [...all]
}

function tellOddValue(told: Told, { mark }: LineValue, ratings: LineRatings): void {
  if (!mark) return
  const { toleranceMinus, tolerancePlus } = ratings
  const share = toleranceMinus === null ? null : Math.max(toleranceMinus, tolerancePlus!)
  const remark = seriesRemark(mark.value, share, value => written(mark.sort, value))
  if (remark !== null) told.remarks.push(remark)
  for (const { why } of mark.alternatives) told.remarks.push(`it may mean something else: ${why}`)
}

