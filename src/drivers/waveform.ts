/** From what a digitizer sends to volts, and whether a sample stood at the end of the range. Pure. */
import { BenchError } from '../base/errors.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import { blockNumbers } from '../scpi/blocks.ts'
import { parseNumber, readNumber } from '../scpi/values.ts'

type Profile = ProfileOf<'digitizer'>

/** volts = number · scaleV + offsetV. */
export interface Scaling { readonly scaleV: number; readonly offsetV: number }

/** The numbers of one piece as they were sent. Throws ANSWER_FORM unless there are `count` of them. */
export function numbersOf(
  data: Profile['data'], piece: Uint8Array | string, count: number,
): Float64Array {
  const numbers = data.kind === 'block' ? blockNumbers(piece as Uint8Array, data.word, data.order)
    : listed(piece as string)
  if (numbers.length === count) return numbers
  throw new BenchError('ANSWER_FORM', 'not the samples that were asked for', {
    expected: `${count} samples`, got: String(numbers.length),
  })
}

function listed(text: string): Float64Array {
  const fields = text.split(',')
  return Float64Array.from(fields, field => parseNumber(field).value)
}

/** So many ranges no input gives: the byte order, the word or the scale is not what it is said to be. */
const beyondEveryRange = 2

export interface Volts { readonly volts: Float64Array; readonly isClipped: boolean }

/**
 * Volts of one channel in place of its numbers. A sample without a number, or far beyond the range, is
 * ANSWER_FORM: nothing else of that record can be believed either.
 */
export function toVolts(
  numbers: Float64Array, { scaleV, offsetV }: Scaling, rangeV: number, clipping: Profile['clipping'],
): Volts {
  const { codes, share } = clipping
  let isClipped = false
  for (let i = 0; i < numbers.length; i++) {
    const sent = numbers[i]!
    const { value, quality } = isPlain(sent) ? { value: sent, quality: 'good' } : readNumber(sent)
    if (quality === 'over-range') {
      isClipped = true
      numbers[i] = Math.sign(value) * rangeV
      continue
    }
    const volts = value * scaleV + offsetV
    if (!(Math.abs(volts) <= beyondEveryRange * rangeV)) throw noSample(i, sent, volts, rangeV)
    isClipped ||= codes ? sent <= codes.low || sent >= codes.high : Math.abs(volts) >= share * rangeV
    numbers[i] = volts
  }
  return { volts: numbers, isClipped }
}

/** Far from the numbers that stand for over-range and for nothing. */
const isPlain = (sent: number): boolean => Math.abs(sent) < 1e37

function noSample(index: number, sent: number, volts: number, rangeV: number): BenchError {
  return new BenchError('ANSWER_FORM', 'samples that cannot be; byte order, word or scale differ', {
    expected: `at most ${beyondEveryRange * rangeV} V at sample ${index}`,
    got: Number.isFinite(volts) ? `${volts} V` : String(sent),
  })
}
