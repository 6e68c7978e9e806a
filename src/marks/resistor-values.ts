/** How resistances are written: `4k7`, `R47`, `4.7 kΩ`, `103`, `4992`, `01C`. */
import { decimal, readings, scaled } from './decimal.ts'
import { seriesMembers } from './eseries.ts'
import { endsWord, matchAt, type Origin, type ValueReading, type ValueRule } from './reading.ts'

const rkmSource = 'decimal letters of IEC 60062 (read second-hand)'
const unitSource = 'SI unit'
const codeSource = 'figures and power of ten (common practice)'
const chipSource = 'EIA-96 (examples read, letters from memory)'

const powers: Readonly<Record<string, number>> = { L: -3, R: 0, K: 3, M: 6, G: 9, T: 12 }

const rkm = /(\d{0,5})([RrKkMmGTL])(\d{0,5})(\s*(?:Ω|[Oo]hms?|OHMS?))?([A-Z])?/y
/** Written small, m is milli to IEC and mega to many a pen. */
function decimalLetter(text: string, at: number, origin: Origin): ValueReading[] {
  const match = matchAt(rkm, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [before = '', sign = '', after = '', unit, letter] = match.groups
  if (before === '' && after === '') return []
  const figures = `${before || '0'}.${after || '0'}`
  const exponents = sign === 'm' ? (unit ? [-3] : [-3, 6]) : [powers[sign.toUpperCase()]!]
  const chip = origin === 'part' && sign === 'R' && after === '' && letter === undefined
    ? chipValue(before, 'R') : undefined
  return exponents.map(exponent => ({
    sort: 'resistor', value: scaled(figures, exponent), end: match.end, letter, source: rkmSource,
    ...(chip === undefined ? {} : {
      alternatives: [{ why: `on a chip: ${chipSource}`, change: { value: chip } }],
    }),
  }))
}

const prefixes = String.raw`(?:\s*([Kk]il(?=ohm)|[Mm]eg|MEG|[kKMmGTµu]))?`
const units = String.raw`(?:\s*(Ω|[Oo]hms?|OHMS?|[Rr](?![A-Za-z0-9])))?`
const withUnit = new RegExp(`(${decimal})${prefixes}${units}`, 'y')
function number(text: string, at: number): ValueReading[] {
  const match = matchAt(withUnit, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [figures = '', prefix = '', unit] = match.groups
  if (prefix === '' && unit === undefined) return plain(figures, match.end)
  return prefixPowers(prefix, unit !== undefined).flatMap(power => readings(figures).map(said => ({
    sort: 'resistor' as const, value: scaled(said, power), end: match.end, source: unitSource,
  })))
}

function prefixPowers(prefix: string, hasUnit: boolean): number[] {
  if (prefix === '') return [0]
  if (prefix === 'm') return hasUnit ? [-3] : [-3, 6]
  if (prefix === 'µ' || prefix === 'u') return hasUnit ? [-6] : []
  return [powers[prefix[0]!.toUpperCase()]!]
}

/** Ohms are likely and not certain; nothing at all is a link, whatever the unit. */
function plain(figures: string, end: number): ValueReading[] {
  const isLink = /^0{1,4}$/.test(figures)
  return readings(figures).map(said => ({
    sort: 'resistor', value: scaled(said, 0), end, isDoubtful: !isLink, source: 'a number taken as ohms',
  }))
}

const code = /([1-9]\d{1,2})([0-7])([A-Z])?/y
function figuresCode(text: string, at: number, origin: Origin): ValueReading[] {
  const match = matchAt(code, text, at)
  if (!match || !endsWord(text, match.end)) return []
  const [figures = '', zeros = '', letter] = match.groups
  const isLetterPower = letter !== undefined && Object.hasOwn(powers, letter)
  // 100K is a hundred kilohms; 103K may as well be ten kilohms of 10 %.
  if (isLetterPower && (origin === 'list' || zeros === '0' || figures.length > 2)) return []
  return [{
    sort: 'resistor', value: scaled(figures, Number(zeros)), end: match.end, letter, isCode: true,
    isDoubtful: origin === 'list' || zeros === '0', source: codeSource,
  }]
}

const chipPowers: Readonly<Record<string, number>> = {
  Z: -3, Y: -2, R: -2, X: -1, S: -1, A: 0, B: 1, H: 1, C: 2, D: 3, E: 4, F: 5,
}
function chipValue(index: string, letter: string): number | undefined {
  const figures = /^\d\d$/.test(index) ? seriesMembers('E96')[Number(index) - 1] : undefined
  const power = chipPowers[letter]
  return figures === undefined || power === undefined ? undefined : scaled(String(figures), power)
}

const chip = /(\d\d)([ZYXSABHCDEF])/y
function chipCode(text: string, at: number, origin: Origin): ValueReading[] {
  const match = origin === 'part' ? matchAt(chip, text, at) : null
  if (!match || !endsWord(text, match.end)) return []
  const value = chipValue(match.groups[0]!, match.groups[1]!)
  return value === undefined ? [] : [{ sort: 'resistor', value, end: match.end, source: chipSource }]
}

export const resistorRules: readonly ValueRule[] = [decimalLetter, number, figuresCode, chipCode]
