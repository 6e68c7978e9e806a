/** From answer lines to readings: sentinels, over-range words and impossible values become a quality, never a number. */
import { BenchError } from '../base/errors.ts'
import type { InstrumentProfile } from '../schema/instrument-profile.ts'
import type { Measured, Quality } from '../schema/reading.ts'
import { isNanText, readNumber } from './number.ts'
import type { Scale } from './scale.ts'

type Habits = Pick<InstrumentProfile, 'answers' | 'booleans'>

export class Answers {
  readonly #name: string
  readonly #words: ReadonlyMap<string, Quality>
  readonly #on: string
  readonly #off: string

  constructor(name: string, profile: Habits) {
    const { overRange, missing, implausible } = profile.answers
    this.#name = name
    this.#words = new Map<string, Quality>([
      ['INF', 'over-range'], ['NINF', 'over-range'], ['-INF', 'over-range'], ['NAN', 'not-a-number'],
      ...overRange.map(word => [word.toUpperCase(), 'over-range'] as const),
      ...missing.map(word => [word.toUpperCase(), 'missing'] as const),
      ...implausible.map(word => [word.toUpperCase(), 'implausible'] as const),
    ])
    this.#on = profile.booleans.readsOn.toUpperCase()
    this.#off = profile.booleans.readsOff.toUpperCase()
  }

  /**
   * One answer to `query` as a reading. Over-range has the value ±Infinity, so that a limit that looked at nothing but the
   * value would trip; what is no number is NaN. `outside`: what a value beyond the bounds of the scale is called.
   * Throws ANSWER_FORM when the text is neither a number nor a word of the profile.
   */
  measured(query: string, text: string, atMs: number, scale: Scale, outside: Quality = 'implausible'): Measured {
    const value = readNumber(text, scale.units)
    if (value >= scale.lowest && value <= scale.highest) return { value, u: scale.u(value), quality: 'good', atMs }
    return this.#unusual(query, text, value, atMs, scale, outside)
  }

  /** The quality of one number of an answer that holds several. */
  qualityOf(query: string, text: string): Quality {
    const value = readNumber(text)
    if (Number.isFinite(value)) return 'good'
    return this.#qualityOfBad(query, text, value)
  }

  /** ±Infinity for over-range, NaN for everything that is no number. */
  number(text: string, units?: readonly string[]): number { return readNumber(text, units) }

  /** A number that must be one: a set value or a status word. */
  plainNumber(query: string, text: string): number {
    const value = readNumber(text)
    if (!Number.isFinite(value)) throw this.#form(query, 'a number', text)
    return value
  }

  switchOf(query: string, text: string): boolean {
    const word = text.toUpperCase()
    if (word === this.#on) return true
    if (word === this.#off) return false
    throw this.#form(query, `${this.#on} or ${this.#off}`, text)
  }

  #unusual(query: string, text: string, value: number, atMs: number, scale: Scale, outside: Quality): Measured {
    if (Number.isFinite(value)) return { value, u: scale.u(value), quality: outside, atMs }
    const quality = this.#qualityOfBad(query, text, value, scale.units)
    const sign = text.startsWith('-') || text.toUpperCase() === 'NINF' ? -1 : 1
    return { value: quality === 'over-range' ? sign * Infinity : Number.NaN, u: Number.NaN, quality, atMs }
  }

  #qualityOfBad(query: string, text: string, value: number, units?: readonly string[]): Quality {
    if (value === Infinity || value === -Infinity) return 'over-range'
    const word = this.#words.get(text.toUpperCase())
    if (word !== undefined) return word
    if (isNanText(text, units)) return 'not-a-number'
    throw this.#form(query, 'a number', text)
  }

  #form(query: string, expected: string, got: string): BenchError {
    return new BenchError('ANSWER_FORM', 'the answer makes no sense', {
      instrument: this.#name, command: query, expected, got: got === '' ? 'an empty line' : got.slice(0, 80),
    })
  }
}
