/**
 * Limits of transistors as lists and data sheets write them: `hFE 110-220 @ 2 mA`, `IDSS 2-6 mA`,
 * `VGS(off) -1..-4 V`, `Vth >= 2 V`. Pure; nothing is guessed. Symbols are common practice.
 */
import { decimal, readings, scaled } from './decimal.ts'
import { plainSigns } from './decode.ts'
import type { MarkProblem } from './mark.ts'
import { matchAt } from './reading.ts'

export type Limited = 'gain' | 'drain current' | 'cut-off voltage' | 'threshold voltage'

/** Magnitudes in SI units; one of `low` and `high` at least. The last two: at what it is to be measured. */
export interface StatedLimit {
  readonly of: Limited
  readonly low?: number
  readonly high?: number
  readonly currentA?: number
  readonly voltageV?: number
}

/** A limit in a text: from `at` up to `end`, and with which sign it is written, null for none. */
export interface FoundLimit {
  readonly limit: StatedLimit
  readonly sign: '+' | '-' | null
  readonly symbol: string
  readonly at: number
  readonly end: number
}

export interface StatedLimits {
  readonly found: readonly FoundLimit[]
  readonly problems: readonly MarkProblem[]
  /** Symbols that stand there without any figure. */
  readonly bare: readonly string[]
}

interface Sort {
  readonly of: Limited
  readonly example: string
  readonly unit: '' | 'A' | 'V'
  /** No part has more, SI (ours). */
  readonly most: number
  /** At what it may be stated, and how that looks. */
  readonly at: readonly ('A' | 'V')[]
  readonly atExample: string
}

const sorts: Readonly<Record<string, Sort>> = {
  gain: {
    of: 'gain', example: 'hFE 110-220 or hFE >= 40', unit: '', most: 1e5,
    at: ['A', 'V'], atExample: '@ 2 mA or @ 2 mA, 5 V',
  },
  drain: {
    of: 'drain current', example: 'IDSS 2-6 mA', unit: 'A', most: 10, at: ['V'], atExample: '@ 15 V',
  },
  cutoff: {
    of: 'cut-off voltage', example: 'VGS(off) -1..-4 V or VP 1-4 V', unit: 'V', most: 100,
    at: ['A'], atExample: '@ 10 nA',
  },
  threshold: {
    of: 'threshold voltage', example: 'Vth 2-4 V', unit: 'V', most: 100, at: ['A'], atExample: '@ 250 µA',
  },
}

const symbols = new RegExp(
  String.raw`(?<![A-Za-z0-9_β])(?:(?<gain>h_?FE|beta|β)|(?<drain>I_?DSS)`
  // VP0104 is a type.
  + String.raw`|(?<cutoff>V_?GS\s?\(?off\)?|V_?P(?!\d))|(?<threshold>V_?GS\s?\(?th\)?|V_?th))(?![A-Za-z_])`,
  'gi')

/** Everything of that sort in a text, with what cannot be read; other words are passed over. */
export function statedLimits(given: string): StatedLimits {
  const text = plainSigns(given)
  const found: FoundLimit[] = []
  const problems: MarkProblem[] = []
  const bare: string[] = []
  for (const match of text.matchAll(symbols)) {
    const [name] = Object.entries(match.groups!).find(([, group]) => group !== undefined)!
    const read = limitAt(text, match.index, match[0], sorts[name]!)
    if (read === null) bare.push(match[0])
    else if ('expected' in read) problems.push(read)
    else found.push(read)
  }
  return { found, problems: [...problems, ...slips(text)], bare }
}

const beginsFigures = /\s*[:=]?\s*(?:[<>≤≥=]|[-+±]?\s?[.,]?\d|(?:min|max)\b|at (?:least|most)\b)/y
const leadIn = /\s*(?:[:=]\s*)?/y

/** Null where no figure follows the symbol: then it stands in a sentence. */
function limitAt(text: string, at: number, symbol: string, sort: Sort): FoundLimit | MarkProblem | null {
  const behind = at + symbol.length
  if (!matchAt(beginsFigures, text, behind)) return null
  const from = matchAt(leadIn, text, behind)!.end
  const bounds = rangeAt(text, from, sort) ?? boundsAt(text, from, sort)
  const wrong = (where: number, expected: string): MarkProblem =>
    ({ column: where + 1, expected, got: JSON.stringify(text.slice(where, where + 24).trim()) })
  if (bounds === null) return wrong(from, `limits like ${sort.example}`)
  const { low, high, sign } = bounds
  if (low !== undefined && high !== undefined && !(low < high)) {
    return wrong(from, 'the lower limit first, and a higher one after it')
  }
  if (!((low ?? high)! > 0) || (high ?? low)! > sort.most) {
    return wrong(from, `limits above 0 and up to ${sort.most}${sort.unit && ` ${sort.unit}`}`)
  }
  const condition = conditionAt(text, bounds.end, sort)
  if (condition === null) return wrong(bounds.end, `what it is measured at, like ${sort.atExample}`)
  const { end, ...atWhat } = condition
  const limit = { of: sort.of, ...low === undefined ? {} : { low }, ...high === undefined ? {} : { high } }
  return { limit: { ...limit, ...atWhat }, sign, symbol, at, end }
}

interface Bounds {
  readonly low?: number
  readonly high?: number
  readonly sign: FoundLimit['sign']
  readonly end: number
}

const exponents: Readonly<Record<string, number>> = { n: -9, µ: -6, u: -6, m: -3, '': 0, k: 3 }
/** Sign, figures, prefix and unit. */
const amount = String.raw`([-+])?\s?(${decimal})(?:\s?([nµumk]?)([AV])(?![A-Za-z]))?`
const endsAmount = String.raw`(?:(?<=[AVav])|(?![.,]\d))(?![A-Za-z0-9µ%])`
const range = new RegExp(String.raw`${amount}\s*(?:\.{2,3}|…|-|\bto\b)\s*${amount}${endsAmount}`, 'y')
const bound = new RegExp(
  String.raw`(>=?|≥|<=?|≤|at least|at most|min\b\.?|max\b\.?)\s*${amount}${endsAmount}`, 'iy')
const boundBehind = new RegExp(String.raw`${amount}\s*(min|max)\b\.?`, 'iy')
const betweenBounds = /\s*(?:[,/]|and\b)?\s*/y

/** One figure in SI units; null where its unit is not that of the sort, or a comma may be of thousands. */
function figure(
  figures: string, prefix: string | undefined, unit: string | undefined, sort: Sort,
): number | null {
  const fits = (unit ?? '') === sort.unit && (unit !== undefined || !prefix)
  return fits && readings(figures).length === 1 ? scaled(figures, exponents[prefix ?? '']!) : null
}

/** Two figures; a unit behind the second is that of both, and both have a sign or neither. */
function rangeAt(text: string, at: number, sort: Sort): Bounds | null {
  const match = matchAt(range, text, at)
  if (!match) return null
  const [sign1, figures1 = '', prefix1, unit1, sign2, figures2 = '', prefix2, unit2] = match.groups
  if (sign1 !== sign2) return null
  const one = figure(figures1, unit1 ? prefix1 : prefix2, unit1 ?? unit2, sort)
  const other = figure(figures2, prefix2, unit2, sort)
  if (one === null || other === null) return null
  const sign = (sign1 ?? null) as Bounds['sign']
  // Below nothing people count up either way.
  const [low, high] = sign === '-' && one > other ? [other, one] : [one, other]
  return { low, high, sign, end: match.end }
}

/** `>= 40`, `min 40`, `40 min`, or both ends so; a limit of one side with a sign could mean either. */
function boundsAt(text: string, at: number, sort: Sort): Bounds | null {
  const first = boundAt(text, at, sort)
  if (first === null) return null
  const next = matchAt(betweenBounds, text, first.end)!.end
  const second = boundAt(text, next, sort)
  if (second === null) return first
  const all = { ...first, ...second }
  return all.low === undefined || all.high === undefined ? null : all
}

function boundAt(text: string, at: number, sort: Sort): Bounds | null {
  const before = matchAt(bound, text, at)
  const match = before ?? matchAt(boundBehind, text, at)
  if (!match) return null
  const [sign, figures = '', prefix, unit] = before ? match.groups.slice(1) : match.groups
  const side = (before ? match.groups[0] : match.groups[4])!
  const value = sign ? null : figure(figures, prefix, unit, sort)
  if (value === null) return null
  const isLow = /^(>|≥|at least|min)/i.test(side)
  return { ...isLow ? { low: value } : { high: value }, sign: null, end: match.end }
}

interface Condition { readonly currentA?: number; readonly voltageV?: number; readonly end: number }

const conditionBegins = /\s*,?\s*(?:@|at\b(?=\s*(?:\d|I_?[CD]\b|V_?[CD][ES]\b)))\s*/iy
const conditionOne = new RegExp(
  String.raw`(?:(I_?[CD]|V_?CE|V_?DS)\s*=?\s*)?[-+]?(${decimal})\s?([nµumk]?)([AV])${endsAmount}`, 'iy')
const betweenConditions = /\s*(?:[,/]|and\b)?\s*/y

/** What it is to be measured at; nothing where nothing is said, null where that cannot be read. */
function conditionAt(text: string, at: number, sort: Sort): Condition | null {
  const begins = matchAt(conditionBegins, text, at)
  if (!begins) return { end: at }
  let found: Condition = { end: begins.end }
  for (let next = begins.end; ;) {
    const match = matchAt(conditionOne, text, next)
    if (!match) break
    const [symbol, figures = '', prefix = '', letter = ''] = match.groups
    const unit = letter.toUpperCase() as 'A' | 'V'
    const value = scaled(figures, exponents[prefix]!)
    const isTwice = (unit === 'A' ? found.currentA : found.voltageV) !== undefined
    const isOther = symbol !== undefined && /^I/i.test(symbol) !== (unit === 'A')
    if (isTwice || isOther || !sort.at.includes(unit) || !(value > 0)) return null
    found = { ...found, ...(unit === 'A' ? { currentA: value } : { voltageV: value }), end: match.end }
    next = matchAt(betweenConditions, text, match.end)!.end
  }
  return found.end === begins.end ? null : found
}

/** Symbols by their letters alone; VP is too short to be a slip of anything. */
const known: Readonly<Record<string, string>> = {
  hfe: 'hFE', beta: 'beta', idss: 'IDSS', vgsoff: 'VGS(off)', vgsth: 'VGS(th)', vth: 'Vth',
}
/** Other symbols of data sheets that stand so near to one of these. */
const others = ['hie', 'hoe', 'hre', 'igss', 'vdss', 'vgss']
const limits = String.raw`(?:[<>≤≥]|(?:min|max)\b|at (?:least|most)\b|[-+]?\s?\d[\d.,]*\s?[nµumk]?[AV]?\s*`
  + String.raw`(?:\.\.|…|-|to\b|min\b|max\b)\s*)`
const words = new RegExp(
  String.raw`(?<![A-Za-z0-9_])([A-Za-z][A-Za-z_]+(?:\s?\([a-z]+\)?)?)(?=\s*[:=]?\s*${limits})`, 'g')

/** Words before limits that are a slip of the pen away from a symbol. */
function slips(text: string): MarkProblem[] {
  return [...text.matchAll(words)].flatMap(match => {
    const letters = match[1]!.toLowerCase().replace(/[^a-z]/g, '')
    if (Object.hasOwn(known, letters) || others.includes(letters)) return []
    const near = Object.keys(known).find(one => isSlip(letters, one))
    const meant = letters === 'vgs' ? 'VGS(off) or VGS(th)' : near && known[near]
    return meant === undefined ? [] : [{
      column: match.index + 1, expected: `a limit: did you mean ${meant}?`, got: JSON.stringify(match[1]!),
    }]
  })
}

/** One letter more, one fewer, another in its place, or the same ones in another order. */
function isSlip(word: string, meant: string): boolean {
  const sorted = (letters: string): string => [...letters].sort().join('')
  if (sorted(word) === sorted(meant)) return true
  const [short, long] = word.length < meant.length ? [word, meant] : [meant, word]
  if (long.length - short.length > 1) return false
  const skip = [...long].findIndex((letter, i) => letter !== short[i])
  return long.slice(skip + 1) === short.slice(long.length === short.length ? skip + 1 : skip)
}
