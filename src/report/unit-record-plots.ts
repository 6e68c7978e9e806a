/** Curves that were measured, and courses of what was read over a run, as charts. */
import { curveNames } from '../schema/unit-findings.ts'
import { html, type Markup } from './markup.ts'
import { looks, plotChart, type Plot, type PlotAxis } from './plot.ts'
import { claimedLimits } from './unit-record-limits.ts'
import type {
  UnitRecord, UnitRecordClaim, UnitRecordCourse, UnitRecordCurve, UnitRecordRun,
} from './unit-record-schema.ts'

export function plotsSection({ curves, claims, provenBy }: UnitRecord): Markup {
  if (provenBy === null) return html`<p>No curve was measured yet.</p>`
  return html`${curveNames.map(name => {
    const named = curves.filter(curve => curve.name === name)
    return html`<h3>${name[0]!.toUpperCase()}${name.slice(1)}</h3>
${named.length === 0 ? html`<p>Not measured.</p>`
    : groups(named, likenessIn(named)).map(group => curveChart(group, claims))}`
  })}`
}

/** In groups by a key, none larger than there are looks. */
function groups<T>(list: readonly T[], keyOf: (one: T) => string): T[][] {
  const found = new Map<string, T[][]>()
  for (const one of list) {
    const chunks = found.get(keyOf(one)) ?? [[]]
    if (chunks.at(-1)!.length === looks.length) chunks.push([])
    chunks.at(-1)!.push(one)
    found.set(keyOf(one), chunks)
  }
  return [...found.values()].flat()
}

/**
 * On one chart goes what has the same axes: all channels where they were measured alike, each channel by
 * itself where it was measured in several ways. Spectra would hide each other.
 */
function likenessIn(named: readonly UnitRecordCurve[]): (curve: UnitRecordCurve) => string {
  const axes = ({ x, y }: UnitRecordCurve): string =>
    JSON.stringify([x, y].map(({ label, unit, scale }) => [label, unit, scale]))
  return curve => {
    const ways = new Set(named.filter(one => axes(one) === axes(curve)).map(({ under }) => under))
    const isAlone = curve.name === 'spectrum' || ways.size > 1
    return `${axes(curve)} ${isAlone ? curve.channel : ''}`
  }
}

function curveChart(curves: readonly UnitRecordCurve[], claims: readonly UnitRecordClaim[]): Markup {
  const [first] = curves as [UnitRecordCurve]
  const places = [...new Set(curves.map(placeOf))]
  const isOne = new Set(curves.map(({ under }) => under)).size === 1
  return plotChart({
    title: `${first.name}: ${places.join(', ')}`, x: shown(first.x), y: shown(first.y),
    lines: curves.map(curve => ({
      label: isOne ? placeOf(curve) : curve.under,
      x: percent(curve.x.unit, curve.x.values), y: percent(curve.y.unit, curve.y.values),
    })),
    limits: claimedLimits(first,
      claims.filter(({ channel }) => channel === null || places.includes(channel))),
    key: isOne && first.under !== '' ? `Measured under: ${first.under.replace(/\.$/, '')}.` : '',
  }) ?? html`<p>${places.join(', ')}: no point of it can be drawn.</p>`
}

const placeOf = ({ channel }: UnitRecordCurve): string => channel ?? 'the whole'

const shown = ({ label, unit, scale }: UnitRecordCurve['x']): PlotAxis =>
  ({ label, unit: unit === '1' ? '%' : unit, scale })
const percent = (unit: string, values: readonly (number | null)[]): readonly (number | null)[] =>
  unit === '1' ? values.map(value => value === null ? null : 100 * value) : values

const kinds: readonly (readonly [RegExp, string])[] = [
  [/^mains\.power$/, 'Mains power'], [/^mains\.current$/, 'Mains current'],
  [/^mains\.voltage$/, 'Mains volts'], [/^warm\./, 'Temperatures'], [/^idle\./, 'Idle currents'],
  [/\.dc$/, 'DC at the outputs'], [/^rail\./, 'Rails'],
]
const order = (name: string): number => {
  const at = kinds.findIndex(([pattern]) => pattern.test(name))
  return at < 0 ? kinds.length : at
}

/** Rails, and what is of no known kind, have a chart each, so that what they do can be seen. */
const kindOf = ({ channel, quantity }: UnitRecordCourse): string => {
  const at = order(channel)
  return at >= kinds.length ? `${quantity} ${channel}`
    : kinds[at]![1] === 'Rails' ? `Rail ${channel.slice('rail.'.length)}` : kinds[at]![1]
}

/** What was read from the start of the run to its end; trips are marked. */
export function courseCharts({ courses, trips, startedWallMs }: UnitRecordRun): Markup {
  if (courses.length === 0) return html`<p>No course of what was read is shown.</p>`
  const sorted = [...courses].sort((a, b) => order(a.channel) - order(b.channel))
  const marks = trips.map(({ wallMs, says }) => ({ at: (wallMs - startedWallMs) / 1000, label: says }))
  return html`${groups(sorted, one => `${kindOf(one)} ${one.unit}`).map(group => courseChart(group, marks))}`
}

function courseChart(group: readonly UnitRecordCourse[], marks: NonNullable<Plot['marks']>): Markup {
  const [first] = group as [UnitRecordCourse]
  const names = group.map(({ channel }) => channel).join(', ')
  const bad = group.reduce((sum, one) => sum + one.bad, 0)
  return plotChart({
    title: kindOf(first), isLow: true, cutsPeaks: true, marks,
    x: { label: 'time into the run', unit: 's', scale: 'time' },
    y: { label: first.quantity, unit: first.unit, scale: 'linear' },
    lines: group.map(({ channel, atS, mean, min, max }) =>
      ({ label: channel, x: atS, y: mean, low: min, high: max })),
    key: bad > 0 ? `${bad} readings were not good and are in no line.` : '',
  }) ?? html`<p>${names}: no good reading.</p>`
}
