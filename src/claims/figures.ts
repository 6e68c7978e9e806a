/** Figures with units as claims are written: exact, so that what is written is read back to the last bit. */
import type { AmountUnit } from './amounts.ts'

const prefixes: Readonly<Record<AmountUnit, readonly (readonly [number, string])[]>> = {
  W: [[3, 'kW'], [0, 'W'], [-3, 'mW']], V: [[0, 'V'], [-3, 'mV'], [-6, 'µV']], share: [[-2, '%']],
  dB: [[0, 'dB']], Hz: [[3, 'kHz'], [0, 'Hz']], Ω: [[3, 'kΩ'], [0, 'Ω']],
  s: [[0, 's'], [-3, 'ms'], [-6, 'µs']], '°C': [[0, '°C']], 1: [[0, '']],
}

/** `written(0.02, 'share')` is `2 %`, `written(12e3, 'Hz')` is `12 kHz`; every figure that the number has. */
export function written(value: number, unit: AmountUnit): string {
  const list = prefixes[unit]
  const [exponent, symbol] = (value === 0 ? list.find(([at]) => at === 0) : undefined)
    ?? list.find(([at]) => Math.abs(value) >= 10 ** at) ?? list.at(-1)!
  return `${plain(value, exponent)}${symbol === '' ? '' : ` ${symbol}`}`
}

/** `+0.5/-1 dB` of what goes to both sides. */
export const writtenSkew = (low: number, high: number): string =>
  low === -high ? `± ${plain(high, 0)} dB` : `+${plain(high, 0)}/-${plain(-low || 0, 0)} dB`

/** The exact decimal of value × 10^-exponent, without a power of ten. */
function plain(value: number, exponent: number): string {
  const [, sign = '', whole = '', part = '', power = ''] = /^(-?)(\d)(?:\.(\d+))?e([-+]\d+)$/
    .exec(value.toExponential()) ?? []
  const digits = whole + part
  const before = Number(power) - exponent + 1
  const text = before <= 0 ? `0.${'0'.repeat(-before)}${digits}`
    : digits.length <= before ? digits.padEnd(before, '0')
      : `${digits.slice(0, before)}.${digits.slice(before)}`
  const trimmed = text.includes('.') ? text.replace(/\.?0+$/, '') : text
  return `${sign}${trimmed}`
}
