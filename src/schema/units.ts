/**
 * Field names end in their unit. This is the one place that knows those endings, for messages to a person.
 */

interface UnitOfName {
  readonly ending: string
  readonly words: string
  readonly symbols: readonly string[]
  readonly scale: number
}

/** Longest endings first, so that `Ohm` is not read as `m` and neither `Ms` nor `VPerS` as `S`. */
const endings: readonly UnitOfName[] = [
  { ending: 'VPerS', words: 'volts a second', symbols: ['V/s'], scale: 1 },
  { ending: 'Ohm', words: 'ohms', symbols: ['ohm', 'ohms', 'Ω', 'R'], scale: 1 },
  { ending: 'Pct', words: 'per cent', symbols: ['%'], scale: 1 },
  { ending: 'Bytes', words: 'bytes', symbols: ['B', 'bytes'], scale: 1 },
  { ending: 'Hz', words: 'hertz', symbols: ['Hz', 'hz'], scale: 1 },
  { ending: 'Ms', words: 'milliseconds', symbols: ['s'], scale: 1e-3 },
  { ending: 'Ua', words: 'microamperes', symbols: ['A'], scale: 1e-6 },
  { ending: 'F', words: 'farads', symbols: ['F'], scale: 1 },
  { ending: 'V', words: 'volts', symbols: ['V'], scale: 1 },
  { ending: 'A', words: 'amperes', symbols: ['A'], scale: 1 },
  { ending: 'W', words: 'watts', symbols: ['W'], scale: 1 },
  { ending: 'J', words: 'joules', symbols: ['J'], scale: 1 },
  { ending: 'C', words: 'degrees Celsius', symbols: ['°C', 'C', 'degC'], scale: 1 },
  { ending: 'K', words: 'kelvins', symbols: ['K'], scale: 1 },
  { ending: 'S', words: 'seconds', symbols: ['s', 'sec'], scale: 1 },
]

const prefixes: Readonly<Record<string, number>> = {
  p: 1e-12, n: 1e-9, u: 1e-6, µ: 1e-6, μ: 1e-6, m: 1e-3, '': 1, k: 1e3, K: 1e3, M: 1e6, G: 1e9,
}

const quantityShape = /^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,3})?)\s*([^\s\d]{0,6})\s*$/

/** The unit in words that a field's name promises, or undefined when its name promises none. */
export function unitWords(field: string): string | undefined { return unitOf(field)?.words }

/**
 * What a person who wrote `text` (like `100 uF`) for `field` should write instead, as a number in the field's
 * unit; undefined when the text is not such a quantity.
 */
export function plainNumber(field: string, text: string): string | undefined {
  const unit = unitOf(field)
  const parts = quantityShape.exec(text.slice(0, 60))
  if (!unit || !parts) return undefined
  const suffix = parts[2]!
  if (suffix === '') return String(Number(parts[1]))
  for (const symbol of unit.symbols) {
    if (!suffix.endsWith(symbol)) continue
    const prefix = prefixes[suffix.slice(0, suffix.length - symbol.length)]
    if (prefix !== undefined) return String(Number((Number(parts[1]) * prefix / unit.scale).toPrecision(12)))
  }
  return undefined
}

function unitOf(field: string): UnitOfName | undefined {
  return endings.find(unit => field.endsWith(unit.ending) && field.length > unit.ending.length)
    // Qualifiers may follow the unit: limitOhmMin, voltageVMax.
    ?? endings.find(unit => new RegExp(`[a-z]${unit.ending}(Min|Max)$`).test(field))
}
