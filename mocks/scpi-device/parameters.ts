/** What stands after a SCPI header: numbers with suffixes, booleans, words, strings, channel lists. */
import { refuse } from './status.ts'

export type Value = number | string | readonly number[]

export type Parameter =
  /**
   * A number; `unit` is the suffix it may carry (V, A, HZ, S, OHM), `words` what may stand in place of
   * digits.
   */
  | { kind: 'number'; unit?: string; words?: Readonly<Record<string, number>>; optional?: boolean }
  | { kind: 'boolean'; forms?: 'word' | 'digit' | 'any'; optional?: boolean }
  /** One of these keywords, written with the short form in capitals; the answer is the short form. */
  | { kind: 'word'; words: readonly string[]; optional?: boolean }
  | { kind: 'string'; optional?: boolean }
  | { kind: 'channels'; countMax: number; optional?: boolean }

/**
 * Parses the text after a header against its parameters. Throws Refusal with the SCPI number of what is
 * wrong.
 */
export function parseParameters(text: string, parameters: readonly Parameter[]): Value[] {
  const parts = splitTopLevel(text, ',')
  if (parts.length > parameters.length) refuse(-108)
  const values: Value[] = []
  for (const [index, parameter] of parameters.entries()) {
    const part = parts[index]?.trim()
    if (part === undefined || part === '') {
      if (part === undefined && parameter.optional) break
      refuse(-109)
    }
    values.push(parseOne(part, parameter))
  }
  return values
}

/** Splits at `separator` outside quotes and parentheses. An empty text has no parts. */
export function splitTopLevel(text: string, separator: string): string[] {
  if (text.trim() === '') return []
  const parts: string[] = []
  let depth = 0
  let quote = ''
  let start = 0
  for (let i = 0; i < text.length; i++) {
    const c = text[i]!
    if (quote !== '') { if (c === quote) quote = '' } else if (c === '"' || c === '\'') quote = c
    else if (c === '(') depth++
    else if (c === ')') depth--
    else if (c === separator && depth === 0) { parts.push(text.slice(start, i)); start = i + 1 }
  }
  parts.push(text.slice(start))
  return parts
}

/** The short form of a keyword written as `VOLTage`: its capitals and digits. */
export const shortForm = (word: string): string => word.replace(/[^A-Z0-9*]/g, '')

function parseOne(text: string, parameter: Parameter): Value {
  switch (parameter.kind) {
    case 'number': return parseNumber(text, parameter.unit, parameter.words)
    case 'boolean': return parseBoolean(text, parameter.forms ?? 'any')
    case 'word': return parseWord(text, parameter.words)
    case 'string': return parseString(text)
    case 'channels': return parseChannels(text, parameter.countMax)
  }
}

const multipliers: readonly (readonly [string, number])[] = [
  ['EX', 1e18], ['PE', 1e15], ['MA', 1e6], ['T', 1e12], ['G', 1e9], ['K', 1e3], ['M', 1e-3], ['U', 1e-6],
  ['N', 1e-9], ['P', 1e-12], ['F', 1e-15], ['A', 1e-18],
]

/** Decimal or #H #Q #B numeric data with an optional suffix: `500 MA` as amperes is 0.5. */
function parseNumber(text: string, unit?: string, words: Readonly<Record<string, number>> = {}): number {
  const upper = text.toUpperCase()
  for (const [word, value] of Object.entries(words)) {
    if (upper === word.toUpperCase() || upper === shortForm(word)) return value
  }
  if (upper.startsWith('#')) return parseNonDecimal(upper)
  const match = /^([+-]?(?:\d+\.?\d*|\.\d+))(?:\s*E\s*([+-]?\d+))?\s*([A-Z%/]*)$/.exec(upper)
  if (!match) return refuse(/^[+-]?[.\d]/.test(text) ? -121 : -104, text)
  const value = Number(match[1]) * 10 ** Number(match[2] ?? 0)
  return value * suffixFactor(match[3]!, unit)
}

function suffixFactor(suffix: string, unit: string | undefined): number {
  if (suffix === '' || suffix === unit) return 1
  if (unit === undefined || !suffix.endsWith(unit)) return refuse(-131, suffix)
  const prefix = suffix.slice(0, suffix.length - unit.length)
  if (prefix === 'M' && (unit === 'HZ' || unit === 'OHM')) return 1e6
  const found = multipliers.find(([name]) => name === prefix)
  return found ? found[1] : refuse(-131, suffix)
}

function parseNonDecimal(text: string): number {
  const radix = { H: 16, Q: 8, B: 2 }[text.charAt(1)]
  const digits = { H: /^[0-9A-F]+$/, Q: /^[0-7]+$/, B: /^[01]+$/ }[text.charAt(1)]
  if (radix === undefined || !digits?.test(text.slice(2))) return refuse(-121, text)
  return parseInt(text.slice(2), radix)
}

function parseBoolean(text: string, forms: 'word' | 'digit' | 'any'): number {
  const upper = text.toUpperCase()
  if (forms !== 'digit') {
    if (upper === 'ON') return 1
    if (upper === 'OFF') return 0
  }
  if (forms !== 'word' && /^[+-]?\d+(\.\d*)?$/.test(upper)) return Math.round(Number(upper)) === 0 ? 0 : 1
  return refuse(-104, text)
}

function parseWord(text: string, words: readonly string[]): string {
  const upper = text.toUpperCase()
  const found = words.find(word => upper === word.toUpperCase() || upper === shortForm(word))
  return found === undefined ? refuse(-141, text) : shortForm(found)
}

function parseString(text: string): string {
  const quote = text[0]
  if ((quote !== '"' && quote !== '\'') || text.length < 2 || !text.endsWith(quote)) return refuse(-151, text)
  const inner = text.slice(1, -1).replaceAll(quote + quote, '\0')
  return inner.includes(quote) ? refuse(-151, text) : inner.replaceAll('\0', quote)
}

function parseChannels(text: string, countMax: number): number[] {
  const match = /^\(\s*@([\d\s,:]*)\)$/.exec(text)
  if (!match) return refuse(-170, text)
  const channels: number[] = []
  for (const item of match[1]!.split(',')) {
    const range = /^\s*(\d+)\s*(?::\s*(\d+)\s*)?$/.exec(item)
    if (!range) return refuse(-170, text)
    const first = Number(range[1])
    const last = Number(range[2] ?? range[1])
    if (last < first) refuse(-170, text)
    if (channels.length + last - first + 1 > countMax) refuse(-223, text)
    for (let channel = first; channel <= last; channel++) channels.push(channel)
  }
  return channels
}
