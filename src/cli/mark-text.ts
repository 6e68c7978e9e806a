/** A mark in words: what it says, its series, what else it may mean, and the rule it was read by. */
import { formatSi, noNumber } from '../base/format.ts'
import { isIn, seriesNames, seriesRemark } from '../marks/eseries.ts'
import { noRatings, type Alternative, type Mark, type Ratings } from '../marks/mark.ts'
import { written } from '../marks/written.ts'

/** Lines for a terminal; the first says value and unit. */
export function markLines(mark: Mark): string[] {
  return [
    `${mark.sort} ${shownValue(mark)}, written ${written(mark.sort, mark.value)}`,
    ...ratingLines(mark), ...seriesLines(mark),
    ...mark.alternatives.map(alternative => `or: ${alternativeText(mark, alternative)}`),
    ...mark.notes.map(note => `note: ${note}`), `rule: ${mark.source}`,
  ]
}

/** A value as a person reads it, with its unit and no more figures than it has. */
export function shownValue({ value, unit }: Pick<Mark, 'value' | 'unit'>): string {
  const digits = value.toExponential().split('e')[0]!.replace(/\D/g, '').length
  return formatSi(value, unit, Math.min(6, Math.max(3, digits)))
}

/** `±5 %`, `-20 % +80 %`; a dash where none is said. */
export function shownTolerance(
  { toleranceMinus, tolerancePlus }: Pick<Ratings, 'toleranceMinus' | 'tolerancePlus'>,
): string {
  if (toleranceMinus === null || tolerancePlus === null) return noNumber
  const percent = (share: number): string => `${Number((100 * share).toPrecision(6))} %`
  return toleranceMinus === tolerancePlus ? `±${percent(tolerancePlus)}`
    : `-${percent(toleranceMinus)} +${percent(tolerancePlus)}`
}

/** What is rated, in one line; empty where nothing is said. */
export function shownRatings(ratings: Ratings): string {
  const { ratedV, ratedForm, ratedW, tempcoPpmPerK, dielectric, safetyClasses, classTwo } = ratings
  const form = ratedForm === null ? '' : ` ${ratedForm.toUpperCase()}`
  return [
    ...ratedV === null ? [] : [`${Number(ratedV.toPrecision(6))} V${form}`],
    ...ratedW === null ? [] : [`${Number(ratedW.toPrecision(6))} W`],
    ...tempcoPpmPerK === null ? [] : [`${tempcoPpmPerK} ppm/K`],
    ...dielectric === null ? [] : [dielectric], ...safetyClasses.map(name => `class ${name}`),
    ...classTwo === null ? [] : [strays(classTwo)],
  ].join(', ')
}

function strays({ changeMinus, changePlus, minC, maxC }: Ratings['classTwo'] & object): string {
  const percent = (share: number): string => `${Number((100 * share).toPrecision(6))} %`
  return `-${percent(changeMinus)} +${percent(changePlus)} from ${minC} to ${maxC} °C`
}

function ratingLines(mark: Mark): string[] {
  const rated = shownRatings(mark)
  return [
    ...mark.toleranceMinus === null ? [] : [`tolerance ${shownTolerance(mark)}: ${limits(mark)}`],
    ...rated === '' ? [] : [`rated ${rated}`],
  ]
}

function limits({ value, unit, toleranceMinus, tolerancePlus }: Mark): string {
  const ends = [value * (1 - toleranceMinus!), value * (1 + tolerancePlus!)]
  return ends.map(end => formatSi(end, unit, 4)).join(' to ')
}

function seriesLines(mark: Mark): string[] {
  const share = mark.toleranceMinus === null ? null : Math.max(mark.toleranceMinus, mark.tolerancePlus!)
  const shown = (value: number): string => shownValue({ value, unit: mark.unit })
  const remark = seriesRemark(mark.value, share, shown)
  if (remark !== null) return [remark]
  const inside = seriesNames.filter(name => isIn(name, mark.value))
  return inside.length === 0 ? [] : [`in ${inside.join(', ')}`]
}

function alternativeText(mark: Mark, { why, change }: Alternative): string {
  const value = change.value === undefined ? [] : [shownValue({ value: change.value, unit: mark.unit })]
  const ratings = { ...noRatings, ...change }
  const tolerance = ratings.tolerancePlus === null ? [] : [shownTolerance(ratings)]
  const rated = shownRatings(ratings)
  return `${[...value, ...tolerance, ...rated === '' ? [] : [rated]].join(', ')} (${why})`
}
