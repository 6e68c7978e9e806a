/** How an instrument says that it refused something, and reading what it says. */
import { BenchError } from '../base/errors.ts'

/**
 * `queue`: one entry a query until the answer means "none". `none` is 'code-zero', or the codes that mean it.
 * `event-register`: no queue; a set bit of `errorMask` in the register is an error, and reading clears it.
 */
export type ErrorCheck =
  | {
    readonly kind?: 'queue'; readonly query: string; readonly none: 'code-zero' | readonly number[]
    readonly max: number
  }
  | { readonly kind: 'event-register'; readonly query: string; readonly errorMask: number }

/**
 * One entry: `text` is the standard sentence, `info` what the instrument added after a
 * semicolon, if anything.
 */
export interface InstrumentError { readonly code: number; readonly text: string; readonly info: string }

/** How many queries one draining may take. */
export const drainMax = (check: ErrorCheck): number => check.kind === 'event-register' ? 1 : check.max

/**
 * The error in one answer, or null when it says there is none. Throws ANSWER_FORM when it is no such answer.
 */
export function readErrorAnswer(check: ErrorCheck, answer: string): InstrumentError | null {
  if (check.kind === 'event-register') return readRegister(check.errorMask, answer)
  const entry = parseErrorEntry(answer)
  const none = check.none === 'code-zero' ? entry.code === 0 : check.none.includes(entry.code)
  return none ? null : entry
}

/**
 * `-113,"Undefined header;FOO:BAR?"` → code -113, text `Undefined header`, info `FOO:BAR?`. Takes a bare
 * code, text without quotes, and `+0` or `-000` for zero. Throws ANSWER_FORM.
 */
export function parseErrorEntry(answer: string): InstrumentError {
  const parts = /^\s*([+-]?\d{1,6})\s*(?:,\s*(.*))?$/s.exec(answer)
  if (parts === null) {
    throw new BenchError('ANSWER_FORM', 'no error queue entry', {
      expected: 'number,"text"', got: shorten(answer),
    })
  }
  const said = unquote((parts[2] ?? '').trim())
  const cut = said.indexOf(';')
  const text = cut < 0 ? said : said.slice(0, cut)
  const info = cut < 0 ? '' : said.slice(cut + 1)
  return { code: Number(parts[1]) + 0, text: text.trim(), info: info.trim() }
}

/** `-222 "Data out of range" (CURR 9)`, for messages. */
export function describeError(error: InstrumentError): string {
  return `${error.code} "${error.text}"${error.info === '' ? '' : ` (${error.info})`}`
}

const registerBits: readonly [number, string][] = [
  [4, 'query error'], [8, 'device error'], [16, 'execution error'], [32, 'command error'],
]

function readRegister(errorMask: number, answer: string): InstrumentError | null {
  const value = /^[+-]?\d+$/.test(answer) ? Number(answer) : NaN
  if (!(value >= 0 && value <= 255)) {
    throw new BenchError('ANSWER_FORM', 'no event register', {
      expected: 'a whole number 0 to 255', got: shorten(answer),
    })
  }
  if ((value & errorMask) === 0) return null
  const words = registerBits.filter(([bit]) => (value & errorMask & bit) !== 0).map(([, word]) => word)
  return { code: value, text: words.join(', ') || 'an error bit of the event register', info: '' }
}

function unquote(text: string): string {
  const quoteMark = text[0]
  if (quoteMark !== '"' && quoteMark !== "'") return text
  const inside = text.endsWith(quoteMark) && text.length > 1 ? text.slice(1, -1) : text.slice(1)
  return inside.replaceAll(quoteMark + quoteMark, quoteMark)
}

export const shorten = (text: string): string => text.length <= 80 ? text : `${text.slice(0, 77)}…`
