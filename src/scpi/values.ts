/**
 * Texts of SCPI answers as values, and values as texts of SCPI commands. Pure; everything that cannot be read
 * throws ANSWER_FORM. Units and multipliers as IEEE 488.2 and SCPI instruments' manuals state them; no table
 * is complete, so an unknown unit is refused rather than guessed.
 */
import { assert } from '../base/assert.ts'
import { BenchError } from '../base/errors.ts'
import { shorten } from './error-queue.ts'
import { splitFields } from './lists.ts'

export interface NumberWithUnit {
  readonly value: number
  /**
   * Base unit: V, A, Ohm, Hz, F, H, W, s, S, K, Cel, degF, deg, %, dB, dBm, VA, var;
   * `''` when none was given.
   */
  readonly unit: string
}

/**
 * `over-range` carries ±Infinity, `not-a-number` NaN: a limit that looks at nothing but
 * the value would still trip.
 */
export interface Reading { readonly value: number; readonly quality: 'good' | 'over-range' | 'not-a-number' }

const units: Readonly<Record<string, string>> = {
  V: 'V', VOLT: 'V', VDC: 'V', VAC: 'V', VRMS: 'V', VPP: 'Vpp', A: 'A', AMP: 'A', ADC: 'A', AAC: 'A',
  OHM: 'Ohm', HZ: 'Hz', F: 'F', H: 'H', W: 'W', S: 's', SEC: 's', SIE: 'S', K: 'K', CEL: 'Cel', C: 'Cel',
  DEGC: 'Cel', '\xb0C': 'Cel',
  FAR: 'degF', DEGF: 'degF', DEG: 'deg', '%': '%', PCT: '%', DB: 'dB', DBM: 'dBm', VA: 'VA', VAR: 'var',
}

/** Multiplier letters as powers of ten. Alone, M is milli whatever its case. */
const multipliers: readonly (readonly [string, number])[] = [
  ['EX', 18], ['PE', 15], ['MA', 6], ['T', 12], ['G', 9], ['K', 3], ['M', -3], ['U', -6], ['N', -9],
  ['P', -12],
  ['F', -15], ['A', -18], ['\xb5', -6],
]

const numberShape = /^([+-]?(?:\d+\.?\d*|\.\d+))\s*(?:[eE]\s*([+-]?\d{1,5}))?\s*([A-Za-z%\xb0\xb5]*)$/

/**
 * `+4.99E+00`, `.0000 A`, `500 MA` (0.5 A), `2 MHZ` (2E6 Hz), `.0045nF`. Sentinels are not looked at: see
 * readNumber. Throws ANSWER_FORM.
 */
export function parseNumber(text: string): NumberWithUnit {
  const parts = numberShape.exec(text.trim())
  if (parts === null) throw formError('not a number', 'a number', text)
  const [, digits, exponent, suffix] = parts
  const { unit, power } = readSuffix(suffix!, text)
  // One decimal conversion instead of a product: 500E-3 is exactly what a person reads.
  const value = power === 0 && exponent === undefined
    ? Number(digits)
    : Number(`${digits}e${Number(exponent ?? 0) + power}`)
  if (!Number.isFinite(value)) throw formError('a number beyond every range', 'a number', text)
  return { value: value + 0, unit }
}

function readSuffix(suffix: string, text: string): { unit: string; power: number } {
  if (suffix === '') return { unit: '', power: 0 }
  const upper = suffix.toUpperCase().replace('\u039c', '\xb5')
  const whole = units[upper]
  if (whole !== undefined) return { unit: whole, power: 0 }
  // The two where M is mega: IEEE 488.2 has it so because nobody means millihertz or milliohm.
  if (upper === 'MHZ' || upper === 'MOHM') return { unit: units[upper.slice(1)]!, power: 6 }
  for (const [letters, power] of multipliers) {
    const unit = upper.startsWith(letters) ? units[upper.slice(letters.length)] : undefined
    if (unit !== undefined) return { unit, power }
  }
  throw formError('an unknown unit', 'a number with a known unit or none', text)
}

/** Nearer to 9.91E37 than float32 rounding can move it. */
const notANumberSlack = 1e33
const overRangeFrom = 9.899e37
const overRangeText = /^([+-]?)\s*(?:OL|OVER|OVLD|OVERLOAD|OVERRANGE|OV\d*|INF|INFINITY)$/i

/**
 * A reading: 9.9E37 and texts such as `OL` are over-range, 9.91E37 and `NAN` are not a number, with room for
 * float32 rounding. A status text after a comma (`0.0,OL`) is taken for the whole. Throws ANSWER_FORM.
 */
export function parseReading(text: string): Reading {
  const trimmed = text.trim()
  const fields = trimmed.includes(',') ? splitFields(trimmed) : null
  if (fields !== null) {
    const last = fields.at(-1)!
    if (fields.length === 2 && overRangeText.test(last)) return parseReading(last)
    throw formError('more than one value', 'one number', text)
  }
  const words = overRangeText.exec(trimmed)
  if (words !== null) return { value: words[1] === '-' ? -Infinity : Infinity, quality: 'over-range' }
  if (/^(NINF|NINFINITY)$/i.test(trimmed)) return { value: -Infinity, quality: 'over-range' }
  if (/^[+-]?NAN$/i.test(trimmed)) return { value: NaN, quality: 'not-a-number' }
  return readNumber(parseNumber(trimmed).value)
}

/** A number as it was sent, with the two sentinels taken for what they mean. */
export function readNumber(value: number): Reading {
  if (Number.isNaN(value) || Math.abs(value - 9.91e37) <= notANumberSlack) {
    return { value: NaN, quality: 'not-a-number' }
  }
  if (Math.abs(value) >= overRangeFrom) {
    return { value: value > 0 ? Infinity : -Infinity, quality: 'over-range' }
  }
  return { value, quality: 'good' }
}

/** 1, 0, ON or OFF; a number counts when it is exactly one of the two. Throws ANSWER_FORM. */
export function parseBoolean(text: string): boolean {
  const word = text.trim().toUpperCase()
  if (word === 'ON' || word === 'OFF') return word === 'ON'
  const value = /^[+-]?\d+(\.0*)?$/.test(word) ? Number(word) : NaN
  if (value === 1 || value === 0) return value === 1
  throw formError('no switch state', '1, 0, ON or OFF', text)
}

/** A quoted string without its quotes, doubled ones inside made single; text without quotes as it is. */
export function parseString(text: string): string {
  const trimmed = text.trim()
  const mark = trimmed[0]
  if (mark !== '"' && mark !== "'") return trimmed
  const inside = trimmed.slice(1, -1)
  const whole = trimmed.length >= 2 && trimmed.endsWith(mark)
  if (!whole || inside.replaceAll(mark + mark, '').includes(mark)) {
    throw formError('a string that does not end as it began', 'one quoted string', text)
  }
  return inside.replaceAll(mark + mark, mark)
}

/**
 * Significant digits sent: more than any instrument resolves, fewer than show the noise of binary arithmetic.
 */
const digitsSent = 9

/**
 * A number parameter in the base unit, plain where it can be: no suffix, since some
 * instruments refuse every one.
 */
export function formatNumber(value: number): string {
  assert(Number.isFinite(value), 'only a finite number can be sent')
  return String(Number(value.toPrecision(digitsSent)) + 0).replace('e', 'E')
}

export interface Identity {
  readonly maker: string
  readonly model: string
  readonly serial: string
  readonly firmware: string
  /** The whole answer. */
  readonly raw: string
}

/**
 * `*IDN?` fields. Instruments send two to six; a missing one is `''`, and what comes
 * after the third is firmware.
 */
export function parseIdentity(text: string): Identity {
  const raw = text.trim()
  const [maker = '', model = '', serial = '', ...firmware] =
    raw.replace(/^\*IDN\s+/i, '').split(',').map(f => f.trim())
  if (maker === '' && model === '') throw formError('no identity', 'maker,model,serial,firmware', text)
  return { maker, model, serial, firmware: firmware.join(','), raw }
}

export function formError(what: string, expected: string, got: string): BenchError {
  return new BenchError('ANSWER_FORM', what, { expected, got: shorten(got) })
}
