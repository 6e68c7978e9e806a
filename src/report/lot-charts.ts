/** Histograms and control charts as inline SVG: no script, nothing fetched, readable in black and white. */
import { formatSi } from '../base/format.ts'
import type { LotQuantity, SheetChart, StandardSeries } from '../schema/lot-sheet.ts'
import { linearAxis, type Axis } from './axis.ts'
import { html, type Markup } from './markup.ts'

const width = 720
const height = 220
const left = 74
const right = 708
const top = 14
const bottom = 178
/** A line of more points than this is drawn by its lowest and highest within each column. */
const columnsMost = 600
/** More dots than this only blacken the page. */
const dotsMost = 300

const n = (value: number): string => String(Math.round(value * 10) / 10)

interface Level { readonly at: number; readonly look: 'limit' | 'centre'; readonly word: string }

/** Counts over values, with the limits; null of a lot that is all one value. */
export function histogramChart(of: LotQuantity): Markup | null {
  const { bins, unit, limitLow, limitHigh } = of
  if (bins.length < 2) return null
  const limits = [limitLow, limitHigh].filter(limit => limit !== null)
  const [low, high] = [Math.min(bins[0]!.lower, ...limits), Math.max(bins.at(-1)!.upper, ...limits)]
  const x = linearAxis(low, high, left, right, unit)
  const y = linearAxis(0, Math.max(...bins.map(({ count }) => count)), bottom, top, '')
  return figure(`Histogram of ${of.quantity}`, y, html`${x.ticks.map(({ value, label }) => html`<text
x="${n(x.at(value))}" y="${bottom + 16}" text-anchor="middle">${label}</text>`)}
${bins.map(({ lower, upper, count }) => count > 0 && html`<rect class="bar" x="${n(x.at(lower) + 0.5)}"
y="${n(y.at(count))}" width="${n(Math.max(0.5, x.at(upper) - x.at(lower) - 1))}"
height="${n(bottom - y.at(count))}"><title>${formatSi(lower, unit, 5)} to ${formatSi(upper, unit, 5)}:
${count}</title></rect>`)}
${limits.map(limit => html`<line class="limit" x1="${n(x.at(limit))}" x2="${n(x.at(limit))}" y1="${top}"
y2="${bottom}"/>`)}`,
  limits.length > 0 ? 'Broken lines: limits of the grade.' : '')
}

/** Single values in order, with centre and control limits; points outside are dots. */
export function controlChart(
  title: string, chart: SheetChart, unit: string, labels: readonly string[],
): Markup | null {
  const { points, centre, lower, upper, outside } = chart
  if (points.length < 2) return null
  const levels: Level[] = [
    { at: upper, look: 'limit', word: 'upper' }, { at: centre, look: 'centre', word: 'mean' },
    { at: lower, look: 'limit', word: 'lower' },
  ]
  const dots = outside.slice(0, dotsMost)
    .map(i => ({ i, value: points[i]!, label: labels[i] ?? String(i + 1) }))
  return courseChart(title, points, levels, dots, unit,
    'In the order of measurement; broken lines: three standard deviations by moving ranges.')
}

/** Readings of a standard over all sessions, with the certificate and what it allows. */
export function standardChart(of: StandardSeries): Markup | null {
  const { readings, certified, certifiedU, unit, standard } = of
  if (readings.length < 2) return null
  const widest = Math.max(...readings.map(({ u }) => u))
  const half = 3 * Math.hypot(certifiedU, widest)
  const levels: Level[] = [
    { at: certified + half, look: 'limit', word: 'allowed' },
    { at: certified, look: 'centre', word: 'certified' },
    { at: certified - half, look: 'limit', word: 'allowed' },
  ]
  const dots = readings.flatMap(({ value, inControl, rule }, i) =>
    inControl && rule === null ? [] : [{ i, value, label: rule ?? 'out of control' }])
  const values = readings.map(({ value }) => value)
  return courseChart(`Standard ${standard} over its sessions`, values, levels, dots, unit,
    'In the order of measurement; broken lines: three combined standard uncertainties from the certificate; '
    + 'dots: out of control, by the certificate or by its own history.')
}

function courseChart(
  title: string, points: readonly number[], levels: readonly Level[],
  dots: readonly { i: number; value: number; label: string }[], unit: string, key: string,
): Markup {
  const drawn = [...levels.map(({ at }) => at), lowest(points), highest(points)]
  const y = linearAxis(lowest(drawn), highest(drawn), bottom, top, unit)
  const x = (i: number): number => left + i / Math.max(1, points.length - 1) * (right - left)
  return figure(title, y, html`<text x="${left}" y="${bottom + 16}">1</text>
<text x="${right}" y="${bottom + 16}" text-anchor="end">${points.length}</text>
${levels.map(({ at, look, word }) => html`<line class="${look}" x1="${left}" x2="${right}" y1="${n(y.at(at))}"
y2="${n(y.at(at))}"><title>${word} ${formatSi(at, unit, 6)}</title></line>`)}
<path class="line main" d="${coursePath(points, x, y)}"/>
${dots.map(({ i, value, label }) => html`<circle r="2.6" cx="${n(x(i))}"
cy="${n(y.at(value))}"><title>${label}:
${formatSi(value, unit, 6)}</title></circle>`)}`, key)
}

const lowest = (values: readonly number[]): number => values.reduce((a, b) => Math.min(a, b), Infinity)
const highest = (values: readonly number[]): number => values.reduce((a, b) => Math.max(a, b), -Infinity)

function coursePath(points: readonly number[], x: (i: number) => number, y: Axis): string {
  const step = Math.ceil(points.length / columnsMost)
  const path: string[] = []
  for (let from = 0; from < points.length; from += step) {
    const some = points.slice(from, from + step)
    const shown = step === 1 ? some : [lowest(some), highest(some)]
    for (const value of shown) path.push(`${n(x(from))} ${n(y.at(value))}`)
  }
  return `M${path.join('L')}`
}

function figure(title: string, y: Axis, body: Markup, key: string): Markup {
  return html`<figure><figcaption>${title}</figcaption>
<svg viewBox="0 0 ${width} ${height}" role="img" aria-label="${title}">
${y.ticks.map(({ value, label }) => html`<line class="grid" x1="${left}" x2="${right}" y1="${n(y.at(value))}"
y2="${n(y.at(value))}"/><text x="${left - 7}" y="${n(y.at(value) + 4)}" text-anchor="end">${label}</text>`)}
${body}
</svg>
${key !== '' && html`<p class="key">${key}</p>`}</figure>`
}
