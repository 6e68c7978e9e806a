/** What a study of the gauge came to, as one HTML page that needs nothing else, and as a table. */
import { formatSi } from '../base/format.ts'
import type { Found, GaugeAnswer } from '../schema/gauge.ts'
import { linearAxis } from './axis.ts'
import { csvLine } from './csv.ts'
import { percent, rangeOf } from './gauge-words.ts'
import { sure } from './lot-compare-words.ts'
import { html, type Markup } from './markup.ts'
import { page } from './page.ts'
import { framed, intervalChart, label, left, right, top } from './row-charts.ts'

const tone: Record<GaugeAnswer['verdict'], string> =
  { good: 'accept', 'may do': 'marginal', 'not fit': 'reject', 'not known': 'cannot' }

export function gaugeHtml(of: GaugeAnswer): string {
  const { runs, quantity, unit, people, parts, trials, interaction, verdict, says } = of
  return page(`Study of the gauge: ${quantity}`, html`
<p class="verdict"><span class="${tone[verdict]}">${verdict}</span></p>
<ul>${says.map(line => html`<li>${line}</li>`)}</ul>
<dl><dt>${runs.length === 1 ? 'Session' : 'Sessions'}</dt><dd>${runs.join(', ')}</dd>
<dt>Readings</dt><dd>${parts.length} parts, ${people.length} people, ${trials} trials each</dd>
<dt>By</dt><dd>analysis of variance; differences of people by part
${interaction.pooled ? 'not significant, pooled' : 'significant'} (p ${interaction.p.toFixed(3)})</dd></dl>
${spreadChart(of)}
${spreadTable(of)}
${readingsChart(of)}
<h2>People</h2><div class="wide"><table><tr><th>Person</th><th class="num">Mean</th>
<th class="num">Own spread</th></tr>
${people.map(({ person, mean, s }) => html`<tr><td>${person}</td>
<td class="num">${formatSi(mean, unit, 5)}</td><td class="num">${formatSi(s, unit, 2)}</td></tr>`)}
</table></div>`)
}

const times = (value: number | null): string => value === null ? '–' : value.toFixed(1)

const spreadsOf = (of: GaugeAnswer): (readonly [string, Found])[] => [
  ['repeatability', of.repeatability], ['reproducibility', of.reproducibility], ['gauge, both', of.gauge],
  ['parts', of.partToPart], ['all readings', of.total],
]

/** Intervals of a study with few people reach far: beyond so many times the largest spread none is shown. */
const shownTimes = 2

function spreadChart(of: GaugeAnswer): Markup | null {
  const rows = spreadsOf(of).flatMap(([label, { value, low, high }]) =>
    value === null ? [] : [{ label, value, low, high }])
  const largest = Math.max(...rows.map(({ value }) => value))
  return intervalChart('What the readings vary by', rows, of.unit, 'Standard deviations. Lines: intervals at '
    + `${sure(of.confidence)}; one that ends at the frame without a stroke goes on.`, shownTimes * largest)
}

function spreadTable(of: GaugeAnswer): Markup {
  const { unit, tolerance, confidence } = of
  const si = (value: number | null): string => formatSi(value, unit, 3)
  const row = (name: string, found: Found, show: (value: number | null) => string): Markup =>
    html`<tr><td>${name}</td><td class="num">${show(found.value)}</td>
<td class="num">${rangeOf(found, show)}</td></tr>`
  return html`<div class="wide"><table><tr><th>Of</th><th class="num">Found</th>
<th class="num">Interval at ${sure(confidence)}</th></tr>
${spreadsOf(of).map(([name, found]) => row(`${name}, standard deviation`, found, si))}
${tolerance === null
    ? html`<tr><td>share of the tolerance</td><td class="num">–</td><td>it has not two limits</td></tr>`
    : row(`share of the tolerance of ${formatSi(tolerance, unit, 3)}`, of.shareOfTolerance, percent)}
${row('share of all readings', of.shareOfTotal, percent)}
${row('distinct categories', of.distinct, times)}</table></div>`
}

/** More parts than these are in no study that people do by hand. */
const partsMost = 60

/** Every reading: a row a part, in it a line a person. */
function readingsChart({ quantity, unit, people, parts, readings }: GaugeAnswer): Markup {
  const line = 9
  const shown = parts.slice(0, partsMost)
  const all = readings.flat(2)
  const low = all.reduce((a, b) => Math.min(a, b))
  const x = linearAxis(low, all.reduce((a, b) => Math.max(a, b)), left, right, unit)
  const step = line * people.length + 8
  const rowOf = ({ part, mean }: GaugeAnswer['parts'][number], j: number): Markup => {
    const [y, middle] = [top + j * step, x.at(mean).toFixed(1)]
    return html`${label(part, y + step / 2)}
<line class="grid" x1="${left}" x2="${right}" y1="${y + step}" y2="${y + step}"/>
<line class="centre" x1="${middle}" x2="${middle}" y1="${y + 2}" y2="${y + step - 2}"/>
${people.map(({ person }, i) => readings[i]![j]!.map((value, k) => html`<circle r="2.6"
cx="${x.at(value).toFixed(1)}" cy="${y + 8 + i * line}"><title>${part} by ${person} #${k + 1}:
${formatSi(value, unit, 6)}</title></circle>`))}`
  }
  const order = people.map(({ person }) => person).join(', ')
  const title = `${quantity}: every reading, by part and person`
  return framed(title, x, shown.length * step, html`${shown.map(rowOf)}`,
    `In each row from top to bottom: ${order}. Upright line: mean of the part.`)
}

/** One row a figure, a person, or a reading. */
export function gaugeCsv(of: GaugeAnswer): string {
  const { unit, people, parts, readings } = of
  const figure = (name: string, { value, low, high }: Found, inUnit: string): string =>
    csvLine(['figure', name, null, null, null, value, low, high, inUnit])
  return [
    csvLine(['what', 'name', 'person', 'part', 'trial', 'value', 'low', 'high', 'unit']),
    ...spreadsOf(of).map(([name, found]) => figure(name, found, unit)),
    figure('share of the tolerance', of.shareOfTolerance, ''),
    figure('share of all readings', of.shareOfTotal, ''),
    figure('distinct categories', of.distinct, ''),
    ...people.flatMap(({ person, mean, s }) => [
      csvLine(['person', 'mean', person, null, null, mean, null, null, unit]),
      csvLine(['person', 'own spread', person, null, null, s, null, null, unit]),
    ]),
    ...people.flatMap(({ person }, i) => parts.flatMap(({ part }, j) => readings[i]![j]!.map((value, k) =>
      csvLine(['reading', of.quantity, person, part, k + 1, value, null, null, unit])))),
  ].join('')
}
