/**
 * Amounts as claims have them: a figure with its unit, bounds before or behind it, ranges, and deviations to
 * both sides. Numbers are exact decimals; one that can be read in two ways is told and not guessed.
 */
import { readings, scaled } from '../marks/decimal.ts'
import { endsWord, matchAt } from '../marks/reading.ts'

export type AmountUnit = 'W' | 'V' | 'share' | 'dB' | 'Hz' | 'Ω' | 's' | '°C' | '1'
/** What the words about a figure say of its side; better is the side that is good for what is claimed. */
export type Side = 'least' | 'most' | 'better' | 'within'

/** In SI units and shares. */
export type Amount = { readonly unit: AmountUnit; readonly notes: readonly string[] } & (
  | { readonly shape: 'one'; readonly value: number; readonly side: Side | null; readonly isMax: boolean }
  /** From one end to the other, or a nominal value with its tolerance. */
  | { readonly shape: 'range'; readonly low: number; readonly high: number; readonly nominal: number | null }
  /** To both sides of what it should be. */
  | { readonly shape: 'deviation'; readonly low: number; readonly high: number }
)

export interface Slip { readonly expected: string }
export type AmountFound =
  { readonly amount: Amount; readonly end: number } | (Slip & { readonly end: number })

const number = String.raw`(?:\d{1,17}(?:[.,]\d{1,30})?|[.,]\d{1,30})`
const numberAt = new RegExp(`(${number})`, 'y')
const gap = /\s*/y

interface UnitFound {
  readonly unit: AmountUnit
  readonly exponent: number
  /** A level against one volt or another as volts. */
  readonly zeroV?: number
  readonly notes: readonly string[]
  readonly end: number
}

const exponents: Readonly<Record<string, number>> = { M: 6, k: 3, K: 3, '': 0, m: -3, µ: -6, u: -6 }
/** Prefix as a letter, or as a word before a unit that is written out. */
const spelled = String.raw`(?:(?<kilo>kilo)|(?<milli>milli)|(?<micro>micro))?`
const rms = String.raw`(?<rms>\s*(?:rms|RMS|r\.m\.s\.|continuous|sine(?:[- ]wave)?|average)(?![A-Za-z]))?`

const units: readonly (readonly [AmountUnit, RegExp])[] = [
  ['W', new RegExp(String.raw`(?:(?<prefix>[kmµu]?)W|${spelled}watts?)(?![A-Za-z])${rms}`, 'y')],
  ['V', new RegExp(String.raw`(?:(?<prefix>[kmµu]?)V|${spelled}volts?)(?![A-Za-z])${rms}`, 'y')],
  ['share', /(?:%|per ?cent|percent)/y],
  ['Hz', new RegExp(String.raw`(?:(?<prefix>[kKM]?)(?:Hz|HZ|hz|c\/s)|${spelled}(?:hertz|cycles)|cps)`, 'y')],
  ['Ω', new RegExp(String.raw`(?<prefix>[kKM]?)\s?(?:Ω|ohms?)`, 'y')],
  ['s', new RegExp(String.raw`(?:(?<prefix>[mµu]?)s(?:ecs?)?|${spelled}seconds?)`, 'y')],
  ['°C', /(?:°\s?C|deg(?:rees)?\.?\s?C(?:elsius)?)/y],
]
const decibels = /dB(?:(V)|(u)|\s?\(?(A)\)?(?=$|[\s,;:.)]))?/y
/** 0 dBu: 1 mW in 600 Ω, as volts. */
const zeroDbuV = Math.sqrt(0.6)

function unitAt(text: string, at: number): UnitFound | null {
  const level = matchAt(decibels, text, at)
  if (level && endsWord(text, level.end)) {
    const [dbV, dbu, weighted] = level.groups
    if (dbV ?? dbu) return { unit: 'V', exponent: 0, zeroV: dbV ? 1 : zeroDbuV, notes: [], end: level.end }
    return { unit: 'dB', exponent: 0, notes: weighted ? ['A'] : [], end: level.end }
  }
  for (const [unit, pattern] of units) {
    pattern.lastIndex = at
    const match = pattern.exec(text)
    if (!match || !match[0].endsWith('%') && !endsWord(text, at + match[0].length)) continue
    const { prefix = '', kilo, milli, micro, rms: isRms } = match.groups ?? {}
    const exponent = kilo ? 3 : milli ? -3 : micro ? -6 : exponents[prefix]!
    const notes = unit === 'W' && isRms ? ['rms'] : []
    return { unit, exponent: unit === 'share' ? -2 : exponent, notes, end: at + match[0].length }
  }
  return null
}

const unitless: UnitFound = { unit: '1', exponent: 0, notes: [], end: 0 }

interface Figures {
  readonly figures: string
  readonly sign: string
  readonly unit: UnitFound | null
  readonly end: number
}

const signAt = /(?:([-+])\s?)?/y

/** A figure with its unit where one stands. */
function figuresAt(text: string, at: number): Figures | null {
  const sign = matchAt(signAt, text, at)!
  const match = matchAt(numberAt, text, sign.end)
  if (!match) return null
  const unit = unitAt(text, matchAt(gap, text, match.end)!.end)
  return { figures: match.groups[0]!, sign: sign.groups[0] ?? '', unit, end: unit ? unit.end : match.end }
}

/** Every number that the figures can be, in SI units. */
function valuesOf({ figures, sign }: Figures, unit: UnitFound | null): number[] {
  return readings(figures).map(one => {
    const value = scaled(one, unit?.exponent ?? 0) * (sign === '-' ? -1 : 1)
    return (unit?.zeroV === undefined ? value : unit.zeroV * 10 ** (value / 20)) || 0
  })
}

const twoWays = (figures: string): Slip => ({
  expected: `a number that can be read in one way; ${figures} may be ${readings(figures).join(' or ')}`,
})

const before: readonly (readonly [Side, RegExp])[] = [
  ['most', new RegExp(String.raw`(?:<=?|=<|≤|(?:at or )(?:under|below)|(?:not|no) more than|(?:not|never) `
    + String.raw`(?:over|above|exceeding)|less than|lower than|smaller than|under|below|at most`
    + String.raw`|(?<max>max(?:imum|\.|(?![A-Za-z]))))`, 'iy')],
  ['least', new RegExp(String.raw`(?:>=?|=>|≥|(?:at or )(?:over|above)|(?:not|no) less than|(?:not|never) `
    + String.raw`(?:under|below)|more than|greater than|higher than|over|above|at least`
    + String.raw`|min(?:imum|\.|(?![A-Za-z])))`, 'iy')],
  ['better', /better than/iy], ['within', /within/iy],
]
const behind: readonly (readonly [Side, RegExp])[] = [
  ['most', /\s*(?:or (?:less|lower|under|below|smaller)|(?<max>max(?:imum|\.|(?![A-Za-z]))))/iy],
  ['least', /\s*(?:or (?:more|greater|higher|over|above)|min(?:imum|\.|(?![A-Za-z])))/iy],
  ['better', /\s*or better/iy],
]

const isLetter = (text: string, at: number): boolean => /[A-Za-z]/.test(text.charAt(at))

interface SideFound { readonly side: Side; readonly isMax: boolean; readonly end: number }

function sideAt(list: typeof before, text: string, at: number): SideFound | null {
  for (const [side, pattern] of list) {
    pattern.lastIndex = at
    const match = pattern.exec(text)
    const end = at + (match?.[0].length ?? 0)
    if (!match || isLetter(text, end - 1) && isLetter(text, end)) continue
    return { side, isMax: match.groups?.['max'] !== undefined, end }
  }
  return null
}

const plusMinus = /(?:±|\+\/-|\+-)\s*/y
const plusMinusBehind = /\s*(?:±|\+\/-|\+-)\s*/y
const through = /\s*(?:-|\.{2,3}|…|\bto\b)\s*/iy
const between = /between\s+/iy
const and = /\s*and\s+/iy
const skew = new RegExp(
  String.raw`([-+])\s?(${number})\s*(?:dB)?\s*[,/]?\s*([-+])\s?(${number})\s*dB(?![A-Za-z])`, 'y')

/** The amount at a place, or what is wrong with the one that begins there; null where none begins. */
export function amountAt(text: string, at: number): AmountFound | null {
  const either = skewAt(text, at)
  if (either) return either
  const bound = sideAt(before, text, at)
  const from = bound ? matchAt(gap, text, bound.end)!.end : at
  if (bound?.side === 'within') {
    const skewed = skewAt(text, from)
    if (skewed) return skewed
  }
  const deviation = evenAt(text, from, plusMinus)
  if (deviation && (bound === null || bound.side === 'within')) return deviation
  const range = bound === null ? betweenAt(text, at) ?? rangeAt(text, at) : bandAt(text, from, bound)
  if (range) return range
  return oneAt(text, from, bound)
}

function skewAt(text: string, at: number): AmountFound | null {
  const match = matchAt(skew, text, at)
  if (!match || match.groups[0] === match.groups[2]) return null
  const [first, one = '', , other = ''] = match.groups
  const [minus, plus] = first === '-' ? [one, other] : [other, one]
  const ambiguous = [minus, plus].find(figures => readings(figures).length > 1)
  if (ambiguous !== undefined) return { ...twoWays(ambiguous), end: match.end }
  const [low, high] = [-scaled(minus, 0) || 0, scaled(plus, 0)]
  return { amount: { unit: 'dB', notes: [], shape: 'deviation', low, high }, end: match.end }
}

/** `± 1 dB`. */
function evenAt(text: string, at: number, sign: RegExp): AmountFound | null {
  const begins = matchAt(sign, text, at)
  const found = begins && figuresAt(text, begins.end)
  if (!found || found.sign !== '' || !found.unit) return null
  const values = valuesOf(found, found.unit)
  if (values.length > 1) return { ...twoWays(found.figures), end: found.end }
  const { unit, notes } = found.unit
  const high = values[0]!
  return { amount: { unit, notes, shape: 'deviation', low: -high || 0, high }, end: found.end }
}

function betweenAt(text: string, at: number): AmountFound | null {
  const begins = matchAt(between, text, at)
  return begins && rangeAt(text, begins.end, and)
}

/** `over 20 Hz to 20 kHz` is a band, and over no bound. */
function bandAt(text: string, at: number, { side }: SideFound): AmountFound | null {
  const range = side === 'most' ? null : rangeAt(text, at)
  return range && 'amount' in range && range.amount.unit === 'Hz' ? range : null
}

/** `20 Hz to 20 kHz`, `34 dB ± 1 dB`, `34 dB +1/-2 dB`; a unit behind the second figure is that of both. */
function rangeAt(text: string, at: number, join = through): AmountFound | null {
  const one = figuresAt(text, at)
  if (!one) return null
  const tolerance = join === through ? toleranceAt(text, one) : null
  if (tolerance) return tolerance
  const joined = matchAt(join, text, one.end)
  const other = joined && figuresAt(text, joined.end)
  if (!other) return null
  const unit = other.unit ?? one.unit ?? (join === and ? unitless : null)
  if (!unit || one.unit && one.unit.unit !== unit.unit) return null
  const pairs = valuesOf(one, one.unit ?? unit).flatMap(low =>
    valuesOf(other, unit).flatMap(high => low < high ? [[low, high] as const] : []))
  if (pairs.length !== 1) {
    const expected = pairs.length > 1 ? twoWays(one.figures).expected
      : 'a range from a lower figure to a higher one, each with its unit'
    return { expected, end: other.end }
  }
  const [low, high] = pairs[0]!
  const notes = [...one.unit?.notes ?? [], ...unit.notes]
  return { amount: { unit: unit.unit, notes, shape: 'range', low, high, nominal: null }, end: other.end }
}

const blanks = /\s*/y

function toleranceAt(text: string, one: Figures): AmountFound | null {
  const deviation = evenAt(text, one.end, plusMinusBehind)
    ?? ((one.unit?.unit ?? 'dB') === 'dB' ? skewAt(text, matchAt(blanks, text, one.end)!.end) : null)
  if (!deviation || 'expected' in deviation) return deviation
  const { amount: { unit, notes, ...more }, end } = deviation
  if (more.shape !== 'deviation' || one.unit && one.unit.unit !== unit && unit !== 'share') return null
  const values = valuesOf(one, one.unit)
  if (values.length > 1) return { ...twoWays(one.figures), end }
  const nominal = values[0]!
  const isShare = unit === 'share' && one.unit !== null && one.unit.unit !== 'share'
  const by = (part: number): number => isShare ? nominal * (1 + part) : tidy(nominal, part)
  return {
    amount: {
      unit: isShare ? one.unit.unit : unit, notes: [...one.unit?.notes ?? [], ...notes], shape: 'range',
      low: by(more.low), high: by(more.high), nominal,
    }, end,
  }
}

/** 34.2 - 0.1 is 34.1, as a person has it, and no rounding beside it. */
const tidy = (nominal: number, part: number): number => Number((nominal + part).toPrecision(15))

function oneAt(text: string, at: number, bound: SideFound | null): AmountFound | null {
  const found = figuresAt(text, at)
  if (!found) return null
  const values = valuesOf(found, found.unit)
  const last = bound ? null : sideAt(behind, text, found.end)
  const end = last?.end ?? found.end
  if (!found.unit && !endsWord(text, found.end)) return null
  if (values.length > 1) return { ...twoWays(found.figures), end }
  const { unit = '1', notes = [] } = found.unit ?? {}
  const { side = null, isMax = false } = bound ?? last ?? {}
  return { amount: { unit, notes, shape: 'one', value: values[0]!, side, isMax }, end }
}

/** The amount at a place where it is one figure of that unit without bounds; null else. */
export function plainAt(text: string, at: number, unit: AmountUnit): { value: number; end: number } | null {
  const found = figuresAt(text, at)
  if (found?.unit?.unit !== unit || found.sign === '-' && unit !== '°C') return null
  const values = valuesOf(found, found.unit)
  return values.length === 1 ? { value: values[0]!, end: found.end } : null
}

/** Two figures of that unit with `join` between them; a unit behind the second is that of both. */
export function pairAt(
  text: string, at: number, unit: AmountUnit, join: RegExp,
): { low: number; high: number; end: number } | null {
  const found = rangeAt(text, at, join)
  if (!found || 'expected' in found || found.amount.unit !== unit) return null
  const { amount, end } = found
  return amount.shape === 'range' ? { low: amount.low, high: amount.high, end } : null
}
