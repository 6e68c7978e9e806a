/**
 * Line charts as inline SVG: drawn from plain data, no script, no outside resource, readable in black and
 * white.
 */
import { formatDuration, formatSi } from '../base/format.ts'
import type { Axis } from './axis.ts'
import { linearAxis, logAxis, logTimeAxis, timeAxis } from './axis.ts'
import { curveAt, type Curve, type LeakageFit } from './leakage-fit.ts'
import { html, type Markup } from './markup.ts'
import type { StageSpan, Trace } from './traces.ts'

export interface Line { label: string; look: 'main' | 'second'; trace: Trace }
export interface Mark { atS: number; label: string }
export interface TimeChart {
  title: string
  lines: readonly Line[]
  endS: number
  stages?: readonly StageSpan[]
  marks?: readonly Mark[]
}

const width = 720
const height = 250
const left = 66
const right = 708
const top = 14
const bottom = 206

/** Lines over time with their lowest-to-highest band; null when no line has a good value. */
export function timeChart({ title, lines, endS, stages = [], marks = [] }: TimeChart): Markup | null {
  const drawn = lines.filter(line => line.trace.mean.some(value => value !== null))
  const unit = drawn[0]?.trace.unit
  if (unit === undefined) return null
  const [low, high] = extent(drawn.flatMap(line => [...line.trace.min, ...line.trace.max]), unit !== '°C')
  const x = timeAxis(endS, left, right)
  const y = linearAxis(low, high, bottom, top, unit)
  const body = [
    stageStrip(stages, x),
    marks.map(mark => html`<line class="mark" x1="${n(x.at(mark.atS))}" x2="${n(x.at(mark.atS))}" y1="${top}"
      y2="${bottom}"><title>${mark.label}</title></line>`),
    drawn.map(line => html`<path class="band ${line.look}" d="${bandPath(line.trace, x, y)}"/>`),
    drawn.map(line => html`<path class="line ${line.look}" d="${linePath(line.trace, x, y)}"/>`),
  ]
  return frame(title, x, y, body, legend(drawn))
}

/** Leakage against time on logarithmic axes, with limit and fitted curve; null when nothing can be drawn. */
export function leakageChart(title: string, fit: LeakageFit): Markup | null {
  if (fit.points.length < 2) return null
  const times = fit.points.map(point => point.atS)
  const startS = Math.min(...times)
  const endS = Math.max(...times)
  const curve = fit.curve ? curvePoints(fit.curve, startS, endS) : []
  const limits = fit.limitA !== null && fit.limitA > 0 ? [fit.limitA] : []
  const values = [...fit.points, ...curve].map(point => point.value).concat(limits)
  const x = logTimeAxis(startS, endS, left, right)
  const y = logAxis(Math.min(...values), Math.max(...values), bottom, top, value => formatSi(value, 'A', 1))
  const body = [
    limits.map(limit => html`<line class="limit" x1="${left}" x2="${right}" y1="${n(y.at(limit))}"
      y2="${n(y.at(limit))}"/><text class="limit-word" x="${right - 4}" y="${n(y.at(limit) - 5)}"
      text-anchor="end">limit ${formatSi(limit, 'A')}</text>`),
    fit.points.map(point => html`<circle r="1.8" cx="${n(x.at(point.atS))}" cy="${n(y.at(point.value))}"/>`),
    curve.length > 0 && html`<path class="line second" d="${curve.map((point, i) =>
      `${i === 0 ? 'M' : 'L'}${n(x.at(point.atS))} ${n(y.at(point.value))}`).join('')}"/>`,
  ]
  const fitted = curve.length > 0
    && html` <span class="swatch second"></span>fitted decay${windowWords(fit.curve)}`
  const key = html`<p class="key"><span class="dot"></span>measured${fitted}.
Time from arrival at voltage.</p>`
  return frame(title, x, y, body, key)
}

function frame(
  title: string, x: Axis, y: Axis, body: readonly (Markup | false | readonly Markup[])[], key: Markup
): Markup {
  return html`<figure><figcaption>${title}</figcaption>
<svg viewBox="0 0 ${width} ${height}" role="img" aria-label="${title}">
${y.ticks.map(tick => html`<line class="grid" x1="${left}" x2="${right}" y1="${n(y.at(tick.value))}"
  y2="${n(y.at(tick.value))}"/><text x="${left - 7}" y="${n(y.at(tick.value) + 4)}"
  text-anchor="end">${tick.label}</text>`)}
${x.ticks.map(tick => html`<line class="grid" x1="${n(x.at(tick.value))}" x2="${n(x.at(tick.value))}"
  y1="${top}" y2="${bottom}"/><text x="${n(x.at(tick.value))}" y="${bottom + 16}"
  text-anchor="middle">${tick.label}</text>`)}
${body}
</svg>
${key}</figure>`
}

/** Where each stage lies, under the time axis; a name only where it has room. */
function stageStrip(stages: readonly StageSpan[], x: Axis): Markup[] {
  return stages.map((span, i) => {
    const from = x.at(span.fromS)
    const wide = Math.max(0.5, x.at(span.toS) - from)
    const room = wide > span.stage.length * 6.2
    return html`<g><title>${span.stage}</title><rect
      class="stage ${i % 2 === 0 ? 'even' : 'odd'}" x="${n(from)}" y="${bottom + 24}" width="${n(wide)}"
      height="15"/>${room && html`<text class="stage-word"
      x="${n(from + wide / 2)}" y="${bottom + 35}" text-anchor="middle">${span.stage}</text>`}</g>`
  })
}

function legend(lines: readonly Line[]): Markup {
  const names = lines.map(line => html`<span class="swatch ${line.look}"></span>${line.label} `)
  return html`<p class="key">${names}<span class="quiet">Band: lowest to highest.</span></p>`
}

function linePath(trace: Trace, x: Axis, y: Axis): string {
  let path = ''
  let pen = 'M'
  trace.atS.forEach((atS, i) => {
    const value = trace.mean[i]
    if (value === null || value === undefined) { pen = 'M'; return }
    path += `${pen}${n(x.at(atS))} ${n(y.at(value))}`
    pen = 'L'
  })
  return path
}

/** One closed shape for each stretch without a gap: along the highest values and back along the lowest. */
function bandPath(trace: Trace, x: Axis, y: Axis): string {
  let path = ''
  let there: string[] = []
  let back: string[] = []
  const close = (): void => {
    if (there.length > 1) path += `M${there.join('L')}L${back.reverse().join('L')}Z`
    there = []
    back = []
  }
  trace.atS.forEach((atS, i) => {
    const [low, high] = [trace.min[i], trace.max[i]]
    if (low === null || low === undefined || high === null || high === undefined) return close()
    there.push(`${n(x.at(atS))} ${n(y.at(high))}`)
    back.push(`${n(x.at(atS))} ${n(y.at(low))}`)
  })
  close()
  return path
}

const windowWords = (curve: Curve | null): string => curve?.window
  ? `, where it holds: from ${formatDuration(curve.window.fromS)} to ${formatDuration(curve.window.toS)}, `
    + `within ${(100 * curve.window.misfit).toFixed(1)} %`
  : ''

/** Drawn only where it was fitted. */
function curvePoints(curve: Curve, firstS: number, lastS: number): { atS: number; value: number }[] {
  const startS = Math.max(firstS, curve.window?.fromS ?? firstS)
  const endS = Math.min(lastS, curve.window?.toS ?? lastS)
  if (!(endS > startS)) return []
  return Array.from({ length: 81 }, (_, i) => {
    const atS = startS * (endS / startS) ** (i / 80)
    return { atS, value: curveAt(curve, atS) }
  }).filter(point => Number.isFinite(point.value) && point.value > 0)
}

function extent(values: readonly (number | null)[], withZero: boolean): [number, number] {
  let [low, high] = withZero ? [0, 0] : [Infinity, -Infinity]
  for (const value of values) {
    if (value === null) continue
    if (value < low) low = value
    if (value > high) high = value
  }
  return [low, high]
}

const n = (value: number): string => String(Math.round(value * 10) / 10)
