/** Numbers as people write them: point or comma, with or without a figure before it. */

/** Part of a pattern: `4.7`, `4,7`, `.47`, `470`. */
export const decimal = String.raw`(?:\d{1,12}(?:[.,]\d{1,12})?|[.,]\d{1,12})`

/** The exact decimal times ten to `exponent`: `scaled('4,7', 3)` is 4700 and not a rounding beside it. */
export function scaled(text: string, exponent: number): number {
  return Number(`${text.replace(',', '.')}e${exponent}`)
}

/**
 * What a written number may be: two readings where a comma stands before three figures, which is a decimal
 * comma to some and a mark of thousands to others.
 */
export function readings(text: string): string[] {
  return /^[1-9]\d{0,2},\d{3}$/.test(text) ? [text.replace(',', '.'), text.replace(',', '')] : [text]
}
