/** Numbers and times as a person reads them. One place, so that screen, record and command line agree. */

const prefixes: readonly [number, string][] = [
  [9, 'G'], [6, 'M'], [3, 'k'], [0, ''], [-3, 'm'], [-6, 'µ'], [-9, 'n'], [-12, 'p'], [-15, 'f'],
]
/** Units that take no prefix: a millidegree or a milli-one is nobody's habit. */
const bare = new Set(['°C', '1', '%', 'dB', ''])
export const noNumber = '–'

/** `formatSi(4.7e-6, 'A')` is `4.70 µA`: `digits` significant digits, prefix in steps of a thousand. */
export function formatSi(value: number | null | undefined, unit: string, digits = 3): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return noNumber
  const shownUnit = unit === '1' ? '' : unit
  if (bare.has(unit)) return joined(plain(value, digits), shownUnit)
  if (value === 0) return joined('0', unit)
  // Rounded first: 999.96 mA must become 1.00 A, not 1000 mA.
  const rounded = Number(value.toPrecision(digits))
  const [power, prefix] = prefixFor(Math.abs(rounded))
  const scaled = rounded / 10 ** power
  if (Math.abs(scaled) >= 1e6 || Math.abs(scaled) < 1e-3) return joined(value.toExponential(digits - 1), unit)
  return joined(plain(scaled, digits), prefix + unit)
}

/** `formatWithU(4.7e-6, 1.2e-7, 'A')` is `(4.70 ± 0.12) µA`: the uncertainty has two significant digits. */
export function formatWithU(value: number, expandedU: number, unit: string): string {
  if (!Number.isFinite(value)) return noNumber
  if (!Number.isFinite(expandedU) || expandedU <= 0) return formatSi(value, unit, 4)
  const larger = Math.max(Math.abs(value), expandedU)
  const [power, prefix] = bare.has(unit) ? [0, ''] as const : prefixFor(larger)
  const roundedU = Number((expandedU / 10 ** power).toPrecision(2))
  const decimals = Math.min(9, Math.max(0, 1 - Math.floor(Math.log10(roundedU))))
  const body = `${signed((value / 10 ** power).toFixed(decimals))} ± ${roundedU.toFixed(decimals)}`
  const shown = unit === '1' ? '' : prefix + unit
  return shown === '' ? body : `(${body}) ${shown}`
}

/** `0.9973` as `99.7 %`. Never rounds to a certainty that is not there: `> 99.9 %`, `< 0.1 %`. */
export function formatProbability(p: number): string {
  if (!Number.isFinite(p)) return noNumber
  if (p > 0.999 && p < 1) return '> 99.9 %'
  if (p < 0.001 && p > 0) return '< 0.1 %'
  return `${(100 * p).toFixed(1)} %`
}

/** Seconds as the two largest units: `10.0 ms`, `45 s`, `3 min 20 s`, `7 h 05 min`, `2 d 03 h`. */
export function formatDuration(seconds: number | null | undefined): string {
  if (seconds === null || seconds === undefined || !Number.isFinite(seconds)) return noNumber
  if (seconds < 0) return `-${formatDuration(-seconds)}`
  if (seconds > 0 && seconds < 0.9995) return formatSi(seconds, 's', seconds < 0.01 ? 2 : 3)
  if (seconds < 10) return `${Number(seconds.toFixed(1))} s`
  const s = Math.round(seconds)
  if (s < 60) return `${s} s`
  if (s < 3600) return `${Math.floor(s / 60)} min ${two(s % 60)} s`
  const minutes = Math.round(s / 60)
  if (minutes < 1440) return `${Math.floor(minutes / 60)} h ${two(minutes % 60)} min`
  const hours = Math.round(minutes / 60)
  return `${Math.floor(hours / 24)} d ${two(hours % 24)} h`
}

/**
 * Ms since 1970 as a person at the bench reads it: `2026-01-05 21:00:07+01:00` (RFC 3339, with a blank for
 * the T). `timeZone` is an IANA name; the computer's own when left out. What machines read keeps UTC.
 */
export function formatWall(wallMs: number | null | undefined, timeZone?: string): string {
  if (wallMs === null || wallMs === undefined || !Number.isFinite(wallMs) || Math.abs(wallMs) > wallMostMs) {
    return noNumber
  }
  const part = Object.fromEntries(
    zoned(timeZone).formatToParts(wallMs).map(({ type, value }) => [type, value])
  )
  const offset = /[+-]\d\d:\d\d/.exec(part['timeZoneName'] ?? '')?.[0] ?? '+00:00'
  const { year, month, day, hour, minute, second } = part
  return `${year!.padStart(4, '0')}-${month}-${day} ${hour}:${minute}:${second}${offset}`
}

/** Ms since 1970 as `21:00:07+01:00`. */
export function formatClock(wallMs: number, timeZone?: string): string {
  return formatWall(wallMs, timeZone).split(' ')[1] ?? noNumber
}

/** Ms since 1970 as `21:00+01:00`, for times that are guesses. */
export function formatMinute(wallMs: number, timeZone?: string): string {
  return formatClock(wallMs, timeZone).replace(/:\d\d(?=[+-])/, '')
}

/** From year 1 to 9999: beyond, there is no four-digit year to write. */
const wallMostMs = 2.5e14

/** One formatter a zone: making one costs far more than using it. */
const formatters = new Map<string, Intl.DateTimeFormat>()

function zoned(timeZone: string | undefined): Intl.DateTimeFormat {
  const known = formatters.get(timeZone ?? '')
  if (known) return known
  const made = new Intl.DateTimeFormat('en-GB', {
    year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit', second: '2-digit',
    hourCycle: 'h23', calendar: 'iso8601', numberingSystem: 'latn', timeZoneName: 'longOffset',
    ...(timeZone === undefined ? {} : { timeZone }),
  })
  formatters.set(timeZone ?? '', made)
  return made
}

function prefixFor(magnitude: number): readonly [number, string] {
  for (const entry of prefixes) {
    if (magnitude >= 10 ** entry[0]) return entry
  }
  return prefixes[prefixes.length - 1]!
}

function plain(value: number, digits: number): string {
  if (value === 0) return '0'
  const rounded = Number(value.toPrecision(digits))
  const decimals = Math.max(0, digits - 1 - Math.floor(Math.log10(Math.abs(rounded))))
  return decimals > 12 ? rounded.toExponential(digits - 1) : signed(rounded.toFixed(decimals))
}

/** No `-0.00`: a zero has no sign worth a reader's time. */
function signed(text: string): string { return /^-0(\.0*)?$/.test(text) ? text.slice(1) : text }
function joined(number: string, unit: string): string { return unit === '' ? number : `${number} ${unit}` }
function two(value: number): string { return String(value).padStart(2, '0') }

/** So many of these, one or more: "1 part", "2 parts". */
export const formatCount = (count: number, what: string): string =>
  `${count} ${what}${count === 1 ? '' : 's'}`
