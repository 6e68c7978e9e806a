/** How instruments print numbers. */

/** NR3 with a sign and a two-digit exponent: `+4.50000E+02`. */
export function scientific(value: number, digits: number): string {
  if (value === Infinity) return nr3(9.9e37, digits)
  if (value === -Infinity) return nr3(-9.9e37, digits)
  return nr3(Number.isNaN(value) ? 9.91e37 : value, digits)
}

/** NR2: `450.00`. Never prints a negative zero. */
export function fixed(value: number, decimals: number): string {
  const text = value.toFixed(decimals)
  return text.charCodeAt(0) === 45 && Number(text) === 0 ? text.slice(1) : text
}

function nr3(value: number, digits: number): string {
  const text = value.toExponential(digits)
  const at = text.indexOf('e')
  const exponent = text.slice(at + 2)
  const padded = exponent.length < 2 ? `0${exponent}` : exponent
  return `${value < 0 ? '' : '+'}${text.slice(0, at)}E${text.charAt(at + 1)}${padded}`
}
