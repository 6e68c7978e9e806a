/**
 * From answer lines to readings: sentinels, over-range words and impossible values become a quality, never a
 * number.
 */
import { BenchError, hasCode } from '../base/errors.ts'
import type { InstrumentProfile } from '../schema/instrument-profile.ts'
import type { Measured, Quality } from '../schema/reading.ts'
import { parseBoolean, parseNumber, parseReading, readNumber } from '../scpi/values.ts'
import type { Scale } from './scale.ts'

type Habits = Pick<InstrumentProfile, 'answers' | 'booleans'>
interface Read { readonly value: number; readonly quality: Quality }

export class Answers {
  readonly #name: string
  readonly #words: ReadonlyMap<string, Quality>
  readonly #on: string
  readonly #off: string

  constructor(name: string, profile: Habits) {
    const { overRange, missing, implausible } = profile.answers
    this.#name = name
    this.#words = new Map<string, Quality>([
      ...overRange.map(word => [word.toUpperCase(), 'over-range'] as const),
      ...missing.map(word => [word.toUpperCase(), 'missing'] as const),
      ...implausible.map(word => [word.toUpperCase(), 'implausible'] as const),
    ])
    this.#on = profile.booleans.readsOn
    this.#off = profile.booleans.readsOff
  }

  /**
   * One answer to `query` as a reading. Over-range has the value ±Infinity, so that a limit that looked at
   * nothing but the value would trip; what is no number is NaN. `outside`: what a value beyond the bounds of
   * the scale is called. Throws ANSWER_FORM when the text is neither a number nor a known word, or carries
   * the unit of another quantity.
   */
  measured(
    query: string, text: string, atMs: number, scale: Scale, outside: Quality = 'implausible',
  ): Measured {
    const { value, quality } = this.read(query, text, scale.unit)
    if (quality !== 'good') return { value, u: Number.NaN, quality, atMs }
    const isInside = value >= scale.lowest && value <= scale.highest
    return { value, u: scale.u(value), quality: isInside ? 'good' : outside, atMs }
  }

  /** The number of an answer and what it is worth. `unit`: the one unit it may carry. Throws ANSWER_FORM. */
  read(query: string, text: string, unit = ''): Read {
    // Words are looked up in upper case only when the text begins like one.
    if (this.#words.size > 0 && isWord(text)) {
      const quality = this.#words.get(text.toUpperCase())
      if (quality === 'over-range') return { value: text.startsWith('-') ? -Infinity : Infinity, quality }
      if (quality !== undefined) return { value: Number.NaN, quality }
    }
    try {
      const parsed = isWord(text) || text.includes(',') ? parseReading(text) : parseNumber(text)
      if ('quality' in parsed) return parsed
      if (parsed.unit !== '' && parsed.unit !== unit) {
        throw this.#form(query, unit === '' ? 'no unit' : `unit ${unit}`, text)
      }
      return readNumber(parsed.value)
    } catch (error) {
      // Other text is the same error with the instrument and the question beside it.
      const isBare = hasCode(error, 'ANSWER_FORM') && error.context.instrument === undefined
      throw isBare ? this.#form(query, 'a number', text) : error
    }
  }

  /** A number that must be one: a set value or a status word. */
  plainNumber(query: string, text: string, unit = ''): number {
    const { value, quality } = this.read(query, text, unit)
    if (quality !== 'good') throw this.#form(query, 'a number', text)
    return value
  }

  switchOf(query: string, text: string): boolean {
    if (text === this.#on) return true
    if (text === this.#off) return false
    try {
      return parseBoolean(text)
    } catch {
      throw this.#form(query, `${this.#on} or ${this.#off}`, text)
    }
  }

  #form(query: string, expected: string, got: string): BenchError {
    return new BenchError('ANSWER_FORM', 'the answer makes no sense', {
      instrument: this.#name, command: query, expected, got: got === '' ? 'an empty line' : got.slice(0, 80),
    })
  }
}

/**
 * Does not begin as a number does: the first character, or the second after a sign, is no digit and no point.
 */
function isWord(text: string): boolean {
  const first = text.charCodeAt(0)
  const code = first === 0x2b || first === 0x2d ? text.charCodeAt(1) : first
  return !((code >= 0x30 && code <= 0x39) || code === 0x2e || code === 0x20)
}

/** Throws OUT_OF_RANGE for a channel that an instrument does not have. */
export function refuseUnknown(instrument: string, channels: readonly number[], channel: number): void {
  if (channels.includes(channel)) return
  throw new BenchError('OUT_OF_RANGE', 'channel', {
    instrument, expected: channels.join(', '), got: String(channel),
  })
}
