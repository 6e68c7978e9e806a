/** How capacitances and inductances are written: `4n7`, `0.1 MFD`, `104K`, `2A474J`, `3R9`, `10uH`. */
import { decimal, readings, scaled } from './decimal.ts'
import { endsWord, matchAt, type ValueReading, type ValueRule } from './reading.ts'
import { codeV, letterMeanings, shares } from './tables.ts'

const rkmSource = 'decimal letters of IEC 60062 (read second-hand)'
const pointSource = 'R for the decimal point of picofarads (read)'
const codeSource = 'two figures and a power of ten in picofarads, 8 for 0.01 and 9 for 0.1 (read)'
const longCodeSource = 'three figures and a power of ten in picofarads (common practice)'
const coilSource = 'figures in microhenries (common practice; no table was read)'

const powers: Readonly<Record<string, number>> = { p: -12, n: -9, u: -6, µ: -6, m: -3, F: 0, H: 0 }
const powerOf = (sign: string): number => powers[sign] ?? powers[sign.toLowerCase()]!

const rkm = /(\d{0,5})([pnuµmPNUF])(\d{0,5})([Ff](?![A-Za-z]))?([A-Z])?/y
const capacitorLetter: ValueRule = (text, at) => {
  const match = matchAt(rkm, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [before = '', sign = '', after = '', farad, letter] = match.groups
  if (before === '' && after === '') return []
  // 2F104 is a code behind its volts; capitals stand for more than a prefix.
  if (/[PNUF]/.test(sign) && after.length > 2) return []
  // 10 mF is a matter of its own, see faradUnits; 10uH is no capacitance of 3 %.
  if (after === '' && ((sign === 'm' && farad !== undefined) || letter === 'H')) return []
  const value = scaled(`${before || '0'}.${after || '0'}`, powerOf(sign))
  const reading = { sort: 'capacitor' as const, value, end: match.end, letter, source: rkmSource }
  if (farad !== 'F' || after === '') return [reading]
  return [{
    ...reading, alternatives: letterMeanings('capacitor', 'F', value).map(({ tolerance, why }) =>
      ({ why: `F as a tolerance letter, ${why}`, change: shares(tolerance, value) })),
  }]
}

const point = /(\d{0,3})R(\d{0,3})([A-Z])?/y
const pointLetter: ValueRule = (text, at) => {
  const match = matchAt(point, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [before = '', after = '', letter] = match.groups
  if (before === '' && after === '') return []
  const value = scaled(`${before || '0'}.${after || '0'}`, -12)
  return [{ sort: 'capacitor', value, end: match.end, letter, source: pointSource }]
}

/** What a unit of capacitance may mean: mF was microfarad before it was millifarad. */
const faradUnits: Readonly<Record<string, readonly number[]>> = {
  pf: [-12], pfd: [-12], mmf: [-12], mmfd: [-12], µµf: [-12], uuf: [-12], p: [-12], nf: [-9], n: [-9],
  µf: [-6], uf: [-6], µfd: [-6], ufd: [-6], mfd: [-6], µ: [-6], u: [-6], mf: [-3, -6], f: [0],
}
const faradPattern = new RegExp(String.raw`(${decimal})\s*(µµF|[A-Za-zµ]{1,4})`, 'yi')
const capacitorUnit: ValueRule = (text, at) => {
  const match = matchAt(faradPattern, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [figures = '', unit = ''] = match.groups
  const found = Object.hasOwn(faradUnits, unit.toLowerCase()) ? faradUnits[unit.toLowerCase()]! : []
  const source = /^(pfd|mmfd?|uuf|µµf|[uµ]fd|mfd?)$/i.test(unit) ? 'old units (common practice)' : 'SI unit'
  return found.flatMap(power => readings(figures).map(said => (
    { sort: 'capacitor' as const, value: scaled(said, power), end: match.end, source }
  )))
}

const code = /([0-3][A-Z])?([1-9]\d)(\d)([A-Z](?![A-Za-z]))?([0-3][A-Z])?/y
const capacitorCode: ValueRule = (text, at) => {
  const match = matchAt(code, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [before, figures = '', last = '', letter, after] = match.groups
  if ([before, after].some(volts => volts !== undefined && codeV(volts) === undefined)) return []
  if (before !== undefined && after !== undefined) return []
  const power = last === '8' ? -2 : last === '9' ? -1 : Number(last)
  const voltageCode = before ?? after
  return [{
    sort: 'capacitor', value: scaled(figures, power - 12), end: match.end, letter, voltageCode, isCode: true,
    isDoubtful: last === '0' && voltageCode === undefined, source: codeSource,
  }]
}

const longCode = /([1-9]\d\d)([0-6])([A-Z](?![A-Za-z]))?/y
const capacitorLongCode: ValueRule = (text, at) => {
  const match = matchAt(longCode, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [figures = '', last = '', letter] = match.groups
  return [{
    sort: 'capacitor', value: scaled(figures, Number(last) - 12), end: match.end, letter, isCode: true,
    isDoubtful: last === '0', source: longCodeSource,
  }]
}

const bare = new RegExp(String.raw`(${decimal})([A-Z])?`, 'y')
/** A number alone: picofarads or microfarads, microhenries; what is likely is told and not chosen. */
const plainNumber = (sort: 'capacitor' | 'inductor', list: readonly number[]): ValueRule => (text, at) => {
  const match = matchAt(bare, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [figures = '', letter] = match.groups
  if (letter !== undefined && letterMeanings(sort, letter, 1).length === 0) return []
  const source = sort === 'capacitor' ? 'a number taken as pF or as µF' : 'a number taken as µH'
  return list.flatMap(power => readings(figures).map((said): ValueReading =>
    ({ sort, value: scaled(said, power), end: match.end, letter, isDoubtful: true, source })))
}

const coil = /(\d{0,5})([nuµmR])(\d{0,5})(H(?![A-Za-z]))?([A-Z])?/y
const coilLetter: ValueRule = (text, at) => {
  const match = matchAt(coil, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [before = '', sign = '', after = '', henry, letter] = match.groups
  if ((before === '' && after === '') || (sign === 'R' && henry !== undefined)) return []
  const value = scaled(`${before || '0'}.${after || '0'}`, sign === 'R' ? -6 : powerOf(sign))
  return [{
    sort: 'inductor', value, end: match.end, letter, needsSort: henry === undefined && /[nuµ]/.test(sign),
    source: henry === undefined ? `decimal letter; ${coilSource}` : 'SI unit',
  }]
}

const henries = new RegExp(String.raw`(${decimal})\s*([nuµmNU]?)(H|hy|Hy|HY)`, 'y')
const coilUnit: ValueRule = (text, at) => {
  const match = matchAt(henries, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [figures = '', prefix = ''] = match.groups
  return readings(figures).map(said => (
    { sort: 'inductor', value: scaled(said, powerOf(prefix || 'H')), end: match.end, source: 'SI unit' }
  ))
}

const coilFigures = /([1-9]\d)([0-7])([A-Z])?/y
const coilCode: ValueRule = (text, at) => {
  const match = matchAt(coilFigures, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [figures = '', last = '', letter] = match.groups
  return [{
    sort: 'inductor', value: scaled(figures, Number(last) - 6), end: match.end, letter, isCode: true,
    isDoubtful: last === '0', source: coilSource,
  }]
}

export const capacitorRules: readonly ValueRule[] = [
  capacitorLetter, pointLetter, capacitorUnit, capacitorCode, capacitorLongCode,
  plainNumber('capacitor', [-12, -6]),
]
export const inductorRules: readonly ValueRule[] = [
  coilLetter, coilUnit, coilCode, plainNumber('inductor', [-6]),
]
