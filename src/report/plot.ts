/**
 * Lines over any axis as inline SVG: linear, logarithmic or time. Told apart by their dashes as well as by
 * colour; what a line does is said in words for whoever does not see it.
 */
import { formatDuration, formatSi } from '../base/format.ts'
import { leastDrawn, linearAxis, logRangeAxis, timeAxis, type Axis } from './axis.ts'
import { html, type Markup } from './markup.ts'
import { thinned, unbroken, withoutPeaks, type Point } from './plot-points.ts'

type Value = number | null
export interface PlotLine {
  readonly label: string
  readonly x: readonly Value[]
  readonly y: readonly Value[]
  /** Lowest and highest about each point. */
  readonly low?: readonly Value[]
  readonly high?: readonly Value[]
}
export interface PlotAxis {
  readonly label: string
  readonly unit: string
  readonly scale: 'linear' | 'log' | 'time'
}
export interface Plot {
  readonly title: string
  readonly x: PlotAxis
  readonly y: PlotAxis
  /** As many as there are looks. */
  readonly lines: readonly PlotLine[]
  readonly marks?: readonly { readonly at: number; readonly label: string }[]
  /** What a line is held against, from one place along the axis to another; null: from its beginning. */
  readonly limits?: readonly PlotLimit[]
  /** Under the drawing, before the names of the lines. */
  readonly key?: string
  /** Less than usual where many stand below one another. */
  readonly isLow?: boolean
  /** Few peaks that would flatten all the rest go beyond the drawing, which says how far. */
  readonly cutsPeaks?: boolean
}

export interface PlotLimit {
  readonly from: number | null
  readonly to: number
  readonly y: number
  readonly label: string
}

export const looks = ['main', 'second', 'third', 'fourth'] as const
type Look = (typeof looks)[number]

const width = 720
const left = 70
const right = 690
const top = 10
/** Up to so many points each is shown as one. */
const dotsMost = 40

interface Drawn {
  readonly label: string
  readonly look: Look
  /** Null where a line is broken. */
  readonly points: readonly (Point | null)[]
  /** Points that a logarithmic axis has no place for. */
  readonly unshown: number
}

/** Null where no line has a point that can be drawn. */
export function plotChart(plot: Plot): Markup | null {
  const all = plot.lines.map((line, i) => drawnOf(line, looks[i % looks.length]!, plot))
  const drawn = all.filter(({ points }) => points.some(point => point !== null))
  if (drawn.length === 0) return null
  const bottom = plot.isLow ? 112 : 206
  const points = drawn.flatMap(one => one.points.flatMap(point => point ? [point] : []))
  const limits = plot.limits ?? []
  const ends = limits.flatMap(({ from, to }) => from === null ? [to] : [from, to])
  const x = axisOf(plot.x, [...points.map(point => point.x), ...ends], left, right)
  const heights = points.flatMap(point => [point.y, point.low ?? point.y, point.high ?? point.y])
    .concat(limits.map(limit => limit.y))
  const shown = plot.cutsPeaks ? withoutPeaks(heights) : heights
  const full = axisOf(plot.y, shown, bottom, top, plot.isLow ? 5 : 8)
  const y = { ...full, at: (value: number) => Math.min(bottom, Math.max(top, full.at(value))) }
  return html`<figure><figcaption>${plot.title}</figcaption>
<svg viewBox="0 0 ${width} ${bottom + 38}" role="img" aria-label="${plot.title}">
<desc>${drawn.map(one => lineWords(one, plot)).join(' ')}${
  limits.map(({ label }) => ` ${label}.`).join('')}</desc>
${grid(x, y, bottom)}<text x="${(left + right) / 2}" y="${bottom + 32}"
  text-anchor="middle">${axisWords(plot.x)}</text>
${(plot.marks ?? []).map(({ at, label }) => html`<line class="mark" x1="${n(x.at(at))}" x2="${n(x.at(at))}"
  y1="${top}" y2="${bottom}"><title>${label}</title></line>`)}
${drawn.map(one => lineMarks(one, x, y))}${limits.map(limit => limitLine(limit, x, y))}
</svg>
${keyOf(plot, drawn, beyondWords(heights, shown, plot.y))}</figure>`
}

function beyondWords(all: readonly number[], shown: readonly number[], { unit }: PlotAxis): string {
  if (all === shown) return ''
  const [lowest, highest] = [Math.min(...all), Math.max(...all)]
  const [from, to] = [shown[0]!, shown.at(-1)!]
  return `Beyond the drawing: ${[
    ...lowest < from ? [`down to ${formatSi(lowest, unit)}`] : [],
    ...highest > to ? [`up to ${formatSi(highest, unit)}`] : [],
  ].join(' and ')}. `
}

function drawnOf({ x, y, low, high, label }: PlotLine, look: Look, plot: Plot): Drawn {
  const fits = (value: number | null | undefined, { scale }: PlotAxis): value is number =>
    value !== null && value !== undefined && Number.isFinite(value)
      && (scale !== 'log' || value >= leastDrawn)
  const edge = (value: number | null | undefined): Value => fits(value, plot.y) ? value : null
  const points = x.map((at, i) => {
    const value = y[i]
    return fits(at, plot.x) && fits(value, plot.y)
      ? { x: at, y: value, low: edge(low?.[i]), high: edge(high?.[i]) } : null
  })
  const unshown = points.filter((point, i) => point === null && x[i] !== null && y[i] !== null).length
  return { label, look, points: thinned(points, plot.x.scale === 'log'), unshown }
}

function axisOf(
  { scale, unit }: PlotAxis, values: readonly number[], from: number, to: number, most?: number,
): Axis {
  let [low, high] = [Infinity, -Infinity]
  for (const value of values) {
    if (value < low) low = value
    if (value > high) high = value
  }
  if (scale === 'time') return timeAxis(high, from, to)
  if (scale === 'log') return logRangeAxis(low, high, from, to, value => formatSi(value, unit, 1), most)
  const room = Math.max(0, leastSpan * Math.max(Math.abs(low), Math.abs(high)) - (high - low)) / 2
  return linearAxis(low - room, high + room, from, to, unit)
}

/** Of what stands still no axis makes a mountain: it spans this share of the value at least. */
const leastSpan = 0.02

const grid = (x: Axis, y: Axis, bottom: number): Markup => html`${y.ticks.map(({ value, label }) =>
  html`<line class="grid" x1="${left}" x2="${right}" y1="${n(y.at(value))}" y2="${n(y.at(value))}"/><text
  x="${left - 7}" y="${n(y.at(value) + 4)}" text-anchor="end">${label}</text>`)}
${x.ticks.map(({ value, label }) => html`<line class="grid" x1="${n(x.at(value))}" x2="${n(x.at(value))}"
  y1="${top}" y2="${bottom}"/><text x="${n(x.at(value))}" y="${bottom + 16}"
  text-anchor="middle">${label}</text>`)}`

function lineMarks({ points, look }: Drawn, x: Axis, y: Axis): Markup {
  const place = (point: Point, value: number): string => `${n(x.at(point.x))} ${n(y.at(value))}`
  const runs = unbroken(points)
  const line = runs.map(run => `M${run.map(point => place(point, point.y)).join('L')}`).join('')
  const banded = runs.filter(run => run.length > 1
    && run.every(({ low, high }) => low !== null && high !== null))
  const band = banded.map(run => `M${run.map(point => place(point, point.high!)).join('L')}L${
      [...run].reverse().map(point => place(point, point.low!)).join('L')}Z`).join('')
  const few = points.length <= dotsMost ? points.flatMap(point => point ? [point] : []) : []
  return html`${band !== '' && html`<path class="band ${look}" d="${band}"/>`}<path class="line ${look}"
  d="${line}"/>${few.map(point => html`<circle class="${look}" r="2" cx="${n(x.at(point.x))}"
  cy="${n(y.at(point.y))}"/>`)}`
}

const limitLine = ({ from, to, y: at, label }: PlotLimit, x: Axis, y: Axis): Markup =>
  html`<line class="limit" x1="${n(from === null ? left : x.at(from))}" x2="${n(x.at(to))}"
  y1="${n(y.at(at))}" y2="${n(y.at(at))}"><title>${label}</title></line>`

function keyOf(plot: Plot, drawn: readonly Drawn[], beyond: string): Markup {
  const unshown = drawn.reduce((sum, one) => sum + one.unshown, 0)
  const isBanded = drawn.some(({ points }) => points.some(point => point !== null && point.low !== null))
  return html`<p class="key">${drawn.map(({ label, look }) => html`<svg viewBox="0 0 36 8"
  aria-hidden="true"><path class="line ${look}" d="M0 4H36"/></svg><span
  class="name">${label}</span> `)}${axisWords(plot.y)}.
${isBanded && 'Band: lowest to highest. '}${beyond}${(plot.limits ?? []).length > 0
  && `Dotted: ${plot.limits!.map(({ label }) => label).join('; ')}. `}${unshown > 0
  && `${unshown} of the points have no place on a logarithmic axis and are not drawn. `}${plot.key}</p>`
}

const axisWords = ({ label, unit, scale }: PlotAxis): string =>
  scale === 'time' || unit === '' || unit === '1' ? label : `${label}, ${unit}`

/** From where to where a line goes, and its ends up and down. */
function lineWords({ label, points }: Drawn, { x, y }: Plot): string {
  const good = points.flatMap(point => point ? [point] : [])
  const [first, last] = [good[0]!, good.at(-1)!]
  const lowest = good.reduce((a, b) => b.y < a.y ? b : a)
  const highest = good.reduce((a, b) => b.y > a.y ? b : a)
  const at = (point: Point): string => `${formatSi(point.y, y.unit)} at ${
    x.scale === 'time' ? formatDuration(point.x) : formatSi(point.x, x.unit)}`
  return `${label}: from ${at(first)} to ${at(last)}; lowest ${at(lowest)}, highest ${at(highest)}.`
}

const n = (value: number): string => String(Math.round(value * 10) / 10)
