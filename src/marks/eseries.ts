/** Preferred values: the seven E-series. */

export const seriesNames = ['E3', 'E6', 'E12', 'E24', 'E48', 'E96', 'E192'] as const
export type SeriesName = (typeof seriesNames)[number]

/** The E24 family is older than the rule that the finer series follow, and keeps its eight odd members. */
const e24 = [
  100, 110, 120, 130, 150, 160, 180, 200, 220, 240, 270, 300,
  330, 360, 390, 430, 470, 510, 560, 620, 680, 750, 820, 910,
]
/** Rounded steps of a decade; 920 is where the standard departs from the rule, which gives 919. */
const e192 = Array.from({ length: 192 }, (_, i) => i === 185 ? 920 : Math.round(100 * 10 ** (i / 192)))
const every = (list: readonly number[], step: number): number[] => list.filter((_, i) => i % step === 0)

const members: Record<SeriesName, readonly number[]> = {
  E3: every(e24, 8), E6: every(e24, 4), E12: every(e24, 2), E24: e24,
  E48: every(e192, 4), E96: every(e192, 2), E192: e192,
}

/** The members of one decade, 100 to 999, ascending. */
export function seriesMembers(name: SeriesName): readonly number[] { return members[name] }

export interface Nearest { readonly value: number; readonly isMember: boolean }

/**
 * The member of a series nearest to `value` by ratio, so 9.9 may be nearest to 10. `value` in any unit, above
 * 0; RangeError otherwise. A value counts as a member within one part in a million.
 */
export function nearestIn(name: SeriesName, value: number): Nearest {
  if (!(value > 0) || !Number.isFinite(value)) throw new RangeError(`a value above 0 is needed, got ${value}`)
  const exponent = Math.floor(Math.log10(value)) - 2
  const candidates = [exponent - 1, exponent, exponent + 1]
    .flatMap(power => members[name].map(member => Number(`${member}e${power}`)))
    .filter(candidate => candidate > 0 && Number.isFinite(candidate))
  const distance = (candidate: number): number => Math.abs(Math.log(candidate / value))
  const nearest = candidates.reduce((best, next) => distance(next) < distance(best) ? next : best)
  return { value: nearest, isMember: distance(nearest) < 1e-6 }
}

/** Whether `value` is a member; false for 0 and below, which no series has. */
export function isIn(name: SeriesName, value: number): boolean {
  return value > 0 && Number.isFinite(value) && nearestIn(name, value).isMember
}

/** From which tolerance on (a share) each series is the usual one, finest first. */
const pairing: readonly (readonly [number, SeriesName])[] = [
  [0.005, 'E192'], [0.01, 'E96'], [0.02, 'E48'], [0.05, 'E24'], [0.1, 'E12'], [0.2, 'E6'],
]

/** The series that usually goes with a tolerance, which is a share of the value; E3 above 20 %. */
export function seriesOfTolerance(tolerance: number): SeriesName {
  return pairing.find(([most]) => tolerance <= most * (1 + 1e-9))?.[1] ?? 'E3'
}

/**
 * What a person may want to know of a value that is not where its tolerance would put it; null where nothing
 * is odd. Parts of 2 % and finer are made in E24 values too. `shown` writes a value with its unit.
 */
export function seriesRemark(
  value: number, tolerance: number | null, shown: (value: number) => string,
): string | null {
  if (!(value > 0) || !Number.isFinite(value)) return null
  const usual = tolerance === null ? 'E192' : seriesOfTolerance(tolerance)
  const looked: SeriesName[] = finer.includes(usual) ? ['E24', usual] : [usual]
  if (looked.some(name => isIn(name, value))) return null
  const near = looked.map(name => nearestIn(name, value).value)
    .reduce((best, next) => Math.abs(Math.log(next / value)) < Math.abs(Math.log(best / value)) ? next : best)
  const also = isIn('E24', value) ? ', though it is in E24' : ''
  return `${shown(value)} is not in ${looked.join(' or ')}${also}; nearest ${shown(near)}`
}

const finer: readonly SeriesName[] = ['E48', 'E96', 'E192']
