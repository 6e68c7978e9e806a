/** Charts of a row a thing, side by side on one axis, as inline SVG: readable in black and white. */
import { formatSi } from '../base/format.ts'
import type { ShownBin } from '../schema/lots.ts'
import { linearAxis, type Axis } from './axis.ts'
import { html, type Markup } from './markup.ts'

const width = 720
export const left = 190
export const right = 700
export const top = 8
/** More rows than these nobody reads; the table has them all. */
const rowsMost = 40
/** Letters that find room before the axis; the whole name is in its title. */
const lettersMost = 28

const n = (value: number): string => String(Math.round(value * 10) / 10)
const shortOf = (name: string): string =>
  name.length > lettersMost ? `${name.slice(0, lettersMost - 1)}…` : name

/** A value with its interval; null where there is none, or no bound. SI units. */
export interface IntervalRow {
  readonly label: string
  readonly value: number
  readonly low: number | null
  readonly high: number | null
}

/**
 * Values with their intervals, below one another, with 0 on the axis. `upTo`: what lies beyond is not shown,
 * so that one wide interval does not make the others points.
 */
export function intervalChart(
  title: string, all: readonly IntervalRow[], unit: string, key: string, upTo = Infinity,
): Markup | null {
  const rows = all.slice(0, rowsMost)
  if (rows.length === 0) return null
  const known = rows.flatMap(({ value, low, high }) => [value, low ?? value, Math.min(upTo, high ?? value)])
  const x = linearAxis(Math.min(0, ...known), Math.max(0, ...known), left, right, unit)
  const step = 22
  return framed(title, x, rows.length * step, html`<line class="centre" x1="${n(x.at(0))}"
x2="${n(x.at(0))}" y1="${top}" y2="${top + rows.length * step}"/>${rows.map((row, i) =>
    html`${label(row.label, top + (i + 0.5) * step)}${interval(x, row, top + (i + 0.5) * step, unit)}`)}`,
  cut(all.length, key))
}

/** How a lot lies: counts by value, and its mean with its interval below them. */
export interface StripRow extends IntervalRow { readonly bins: readonly ShownBin[] }

/**
 * Distributions below one another on one axis, the heights of each by its own highest. `readingU`: what one
 * reading is sure to, or null.
 */
export function stripChart(
  title: string, all: readonly StripRow[], unit: string, readingU: number | null, key: string,
): Markup {
  const rows = all.slice(0, rowsMost)
  const ends = rows.flatMap(({ bins, value, low, high }) =>
    [bins[0]!.lower, bins.at(-1)!.upper, low ?? value, high ?? value])
  const x = linearAxis(Math.min(...ends), Math.max(...ends), left, right, unit)
  const [step, bars] = [58, 36]
  return framed(title, x, rows.length * step, html`${rows.map((row, i) => {
    const foot = top + i * step + bars + 4
    return html`${label(row.label, foot - bars / 2)}${strip(x, row, foot, bars, unit)}
<line class="grid" x1="${left}" x2="${right}" y1="${n(foot)}" y2="${n(foot)}"/>
${interval(x, row, foot + 8, unit)}`
  })}${readingU !== null && sureTo(x, readingU, unit)}`, cut(all.length, key))
}

function strip(x: Axis, { bins }: StripRow, foot: number, bars: number, unit: string): Markup {
  const highest = Math.max(...bins.map(({ count }) => count))
  return html`${bins.map(({ lower, upper, count }) => {
    const [from, to] = [x.at(lower), x.at(upper)]
    const high = bars * count / highest
    return count > 0 && html`<rect class="bar" x="${n(from)}" y="${n(foot - high)}"
width="${n(Math.max(1.5, to - from - 0.5))}" height="${n(high)}"><title>${formatSi(lower, unit, 5)} to
${formatSi(upper, unit, 5)}: ${count}</title></rect>`
  })}`
}

/** A rule of the length of what one reading is sure to, where it fits. */
function sureTo(x: Axis, readingU: number, unit: string): Markup | null {
  const [first, second] = x.ticks
  const perUnit = (x.at(second!.value) - x.at(first!.value)) / (second!.value - first!.value)
  const half = readingU * perUnit
  if (!(half <= (right - left) / 2)) return null
  return html`<line class="limit" x1="${n(right - 2 * half)}" x2="${right}" y1="${top - 4}"
y2="${top - 4}"><title>one reading is sure to ± ${formatSi(readingU, unit, 2)}</title></line>`
}

function interval(x: Axis, { label: name, value, low, high }: IntervalRow, y: number, unit: string): Markup {
  const words = low === null ? '' : `, ${formatSi(low, unit, 5)} to ${high === null ? 'no bound'
    : formatSi(high, unit, 5)}`
  const from = x.at(low ?? value)
  const to = high === null && low !== null ? right : Math.min(right, x.at(high ?? value))
  const end = (at: number): Markup => html`<line class="line main" x1="${n(at)}" x2="${n(at)}"
y1="${n(y - 3)}" y2="${n(y + 3)}"/>`
  return html`<line class="line main" x1="${n(from)}" x2="${n(to)}" y1="${n(y)}" y2="${n(y)}"/>
${low !== null && end(from)}${high !== null && x.at(high) <= right && end(to)}
<circle r="3" cx="${n(x.at(value))}" cy="${n(y)}"><title>${name}:
${formatSi(value, unit, 5)}${words}</title></circle>`
}

/** The name of a row before the axis, whole in its title. */
export const label = (name: string, y: number): Markup => html`<text x="${left - 8}" y="${n(y + 4)}"
text-anchor="end">${shortOf(name)}<title>${name}</title></text>`

const cut = (count: number, key: string): string =>
  count > rowsMost ? `${key} The first ${rowsMost} of ${count}; the table has them all.` : key

/** `inner`: height of what is drawn, with the ticks of `x` below it. */
export function framed(title: string, x: Axis, inner: number, body: Markup, key: string): Markup {
  const bottom = top + inner
  return html`<figure><figcaption>${title}</figcaption>
<svg viewBox="0 0 ${width} ${bottom + 26}" role="img" aria-label="${title}">
${x.ticks.map(({ value, label: word }) => html`<line class="grid" x1="${n(x.at(value))}"
x2="${n(x.at(value))}" y1="${top}" y2="${n(bottom)}"/><text x="${n(x.at(value))}" y="${n(bottom + 16)}"
text-anchor="middle">${word}</text>`)}
${body}
</svg>
<p class="key">${key}</p></figure>`
}
