/** Writes a value as drawings have it: `4k7`, `470R`, `R47`, `2n2`, `10 µH`. What it writes, decode reads. */
import type { Sort } from './mark.ts'

const prefixes: Record<Sort, readonly (readonly [number, string])[]> = {
  resistor: [[12, 'T'], [9, 'G'], [6, 'M'], [3, 'k'], [0, 'R'], [-3, 'L']],
  capacitor: [[0, 'F'], [-3, 'm'], [-6, 'µ'], [-9, 'n'], [-12, 'p']],
  inductor: [[0, 'H'], [-3, 'mH'], [-6, 'µH'], [-9, 'nH']],
}

/** From this power of ten on a part of an ohm stands behind the R, as on its body; less in milliohms. */
const leastOhmAfterR = -2

/** `value` in SI units, 0 or more, to six significant figures. */
export function written(sort: Sort, value: number): string {
  if (value === 0) return sort === 'resistor' ? '0R' : '0'
  const rounded = value.toExponential(5)
  const [figures = '', power = ''] = rounded.split('e')
  const exponent = Number(power)
  if (sort === 'resistor' && leastOhmAfterR <= exponent && exponent < 0) {
    return `R${'0'.repeat(-1 - exponent)}${figures.replace('.', '').replace(/0+$/, '')}`
  }
  const list = prefixes[sort]
  const [step, letter] = list.find(([at]) => exponent >= at) ?? list[list.length - 1]!
  const [whole, part] = pointed(figures.replace('.', ''), exponent - step)
  if (sort === 'inductor') return `${whole}${part === '' ? '' : `.${part}`} ${letter}`
  return `${whole}${letter}${part}`
}

/** Figures d.ddddd times ten to `shift`, as what stands before the point and behind it. */
function pointed(figures: string, shift: number): [string, string] {
  const padded = shift < 0 ? '0'.repeat(-shift) + figures : figures.padEnd(shift + 1, '0')
  const whole = padded.slice(0, Math.max(1, shift + 1))
  return [whole, padded.slice(whole.length).replace(/0+$/, '')]
}
