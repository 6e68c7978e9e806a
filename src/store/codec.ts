/**
 * Objects as text and back. Keys sorted, so that equal objects give equal bytes; numbers JSON has no word for
 * survive; text is made well-formed first, because SQLite keeps UTF-8 and a lone surrogate has none.
 */

type Wrapped = { $number: string }

/** Canonical JSON of `value`. */
export function encode(value: unknown): string { return wellFormed(JSON.stringify(canonical(value))) }

/** What `encode` was given, but for key order, undefined members and -0. */
export function decode(text: string): unknown {
  return JSON.parse(text, (_key, value: unknown) => isWrapped(value) ? Number(value.$number) : bared(value))
}

/** `text` as it comes back from the database. */
export function wellFormed(text: string): string { return Buffer.from(text, 'utf8').toString('utf8') }

function canonical(value: unknown): unknown {
  if (typeof value === 'number') return Number.isFinite(value) ? value : { $number: String(value) }
  if (typeof value === 'string') return wellFormed(value)
  if (value === null || typeof value !== 'object') return value
  if (Array.isArray(value)) return value.map(canonical)
  const entries = Object.entries(value).filter(([, member]) => member !== undefined)
  // Object.fromEntries would drop a key named __proto__; JSON.parse in the same place keeps it.
  const sorted = Object.create(null) as Record<string, unknown>
  // An object that is given and looks like a wrapped number gets one more $, which reading takes off again.
  const dollar = entries.length === 1 && looksWrapped(entries[0]![0]) ? '$' : ''
  for (const [key, member] of entries.sort(byKey)) sorted[dollar + wellFormed(key)] = canonical(member)
  return sorted
}

function byKey([a]: [string, unknown], [b]: [string, unknown]): number { return a < b ? -1 : a > b ? 1 : 0 }

const looksWrapped = (key: string): boolean => /^\$+number$/.test(key)

function bared(value: unknown): unknown {
  if (typeof value !== 'object' || value === null || Array.isArray(value)) return value
  const [key, ...more] = Object.keys(value)
  if (key === undefined || more.length > 0 || !key.startsWith('$$') || !looksWrapped(key)) return value
  return { [key.slice(1)]: (value as Record<string, unknown>)[key] }
}

function isWrapped(value: unknown): value is Wrapped {
  if (typeof value !== 'object' || value === null) return false
  return typeof (value as Partial<Wrapped>).$number === 'string' && Object.keys(value).length === 1
}
