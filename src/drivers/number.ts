/** The number of an answer, fast: this runs once a reading. */

/** Unit suffixes that may follow a number of each quantity. Any other suffix shows an answer to some other question. */
export const suffixes = {
  none: [], V: ['V', 'VDC'], A: ['A', 'ADC'], C: ['C', 'DEGC', '°C'],
} as const satisfies Record<string, readonly string[]>

const overRange = 9.899e37
const notANumber = 9.91e37

/** ±Infinity for the over-range sentinel; NaN for the not-a-number sentinel and for everything that is no number. */
export function readNumber(text: string, units: readonly string[] = suffixes.none): number {
  const value = literal(text, units)
  if (value < overRange && value > -overRange) return value
  if (Number.isNaN(value) || isNanSentinel(value)) return Number.NaN
  return value > 0 ? Infinity : -Infinity
}

/** True when the text is the not-a-number sentinel, which an instrument may send, and not rubbish, which it may not. */
export function isNanText(text: string, units: readonly string[] = suffixes.none): boolean {
  return isNanSentinel(literal(text, units))
}

/** float32 stores 9.91E37 as 9.90999953E37; the over-range sentinel is a thousandth away. */
const isNanSentinel = (value: number): boolean => Math.abs(value - notANumber) <= 1e33

function literal(text: string, units: readonly string[]): number {
  if (isDigit(text.charCodeAt(text.length - 1)) || text.endsWith('.')) return decimal(text)
  if (units.length === 0) return Number.NaN
  const upper = text.toUpperCase()
  for (const unit of units) {
    if (upper.endsWith(unit)) {
      const number = text.slice(0, text.length - unit.length).trimEnd()
      if (isDigit(number.charCodeAt(number.length - 1)) || number.endsWith('.')) return decimal(number)
    }
  }
  return Number.NaN
}

/** Number() takes 0x10, 0b1 and 0o7 as well; no answer means these. */
function decimal(text: string): number {
  return text.charCodeAt(0) === 0x30 && text.charCodeAt(1) > 0x45 && text.charCodeAt(1) !== 0x65 ? Number.NaN : Number(text)
}

const isDigit = (code: number): boolean => code >= 0x30 && code <= 0x39
