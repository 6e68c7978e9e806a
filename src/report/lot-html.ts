/** The sheet of a lot as one HTML page that needs nothing else. */
import { formatProbability, formatSi, formatWall } from '../base/format.ts'
import type { LotQuantity, LotSheet, StandardSeries } from '../schema/lot-sheet.ts'
import { controlChart, histogramChart, standardChart } from './lot-charts.ts'
import { gradeWords, limitWords, sampleNotes, standardWords, titleOf, yieldWords } from './lot-sheet-words.ts'
import { html, type Markup } from './markup.ts'
import { page } from './page.ts'

/** Of a lot of fewer parts a chart shows nothing that the table does not. */
const chartedFrom = 5
/** A list of many values has as many quantities; pictures of the largest do, the table has them all. */
const chartedMost = 40

export function lotHtml(sheet: LotSheet): string {
  const charted = sheet.quantities.filter(({ n }) => n >= chartedFrom).slice(0, chartedMost)
  return page(titleOfSheet(sheet), html`
<p class="verdict">${sheet.parts} parts: ${gradeWords(sheet) || 'no result'}.</p>
<dl><dt>Yield</dt><dd>${yieldWords(sheet)}, exact binomial interval</dd>
${sheet.runs.map(({ id, sequence, bench, person, startedWallMs, state }) => html`<dt>Run</dt><dd>${id},
${sequence} on ${bench} by ${person}, ${formatWall(startedWallMs)}, ${state}</dd>`)}
${sampleNotes(sheet).map(note => html`<dt>Sample</dt><dd>${note}</dd>`)}
${sheet.replaced > 0 && html`<dt>Measured again</dt>
<dd>${sheet.replaced} older results do not count</dd>`}</dl>
${quantityTable(sheet)}
${charted.map(quantitySection)}
${sheet.standards.length > 0 && html`<h2>Check standards</h2>${sheet.standards.map(standardSection)}`}
<p class="quiet">Means, spreads, capability and Grubbs' test take the lot for a normal one; look at its
histogram. Intervals at 95 %.</p>`)
}

const titleOfSheet = ({ runs }: LotSheet): string =>
  runs.length === 1 ? `Lot sheet of run ${runs[0]!.id}` : `Lot sheet of ${runs.length} runs`

function quantityTable({ quantities }: LotSheet): Markup {
  return html`<h2>Quantities</h2><div class="wide"><table>
<tr><th>Quantity</th><th class="num">Parts</th><th class="num">Mean</th><th class="num">s</th>
<th class="num">Least</th><th class="num">Most</th><th>Limits</th><th class="num">Within</th>
<th class="num">Cpk</th></tr>
${quantities.map(of => html`<tr><td>${titleOf(of)}</td><td class="num">${of.n}</td>
<td class="num">${formatSi(of.mean, of.unit, 5)}</td><td class="num">${formatSi(of.s, of.unit, 2)}</td>
<td class="num">${formatSi(of.least, of.unit, 5)}</td><td class="num">${formatSi(of.most, of.unit, 5)}</td>
<td class="tight">${limitWords(of)}</td>
<td class="num">${of.within ? formatProbability(of.within.share) : '–'}</td>
<td class="num">${of.capability ? of.capability.cpk.toFixed(2) : '–'}</td></tr>`)}
</table></div>`
}

function quantitySection(of: LotQuantity): Markup {
  const { quantity, individuals, movingRange, unit, labels, grubbs, within, source } = of
  return html`<h2>${titleOf(of)}, ${of.n} parts, ${limitWords(of)}</h2>
<p class="quiet">Limits: ${source}. Median ${formatSi(of.median, unit, 5)}; one reading is sure to
${of.expandedU === null ? 'nobody knows what' : html`± ${formatSi(of.expandedU, unit, 2)}`}.
${within && html`Readings within the limits: ${within.good} of ${within.n},
${formatProbability(within.low)} to ${formatProbability(within.high)}.`}
${grubbs && html` Farthest from the mean: ${grubbs.label}, ${grubbs.g.toFixed(2)} standard deviations
(Grubbs' bound ${grubbs.critical.toFixed(2)}).`}</p>
${of.says.length > 0 && html`<ul>${of.says.map(line => html`<li>${line}</li>`)}</ul>`}
${histogramChart(of)}
${individuals && controlChart(`Single values of ${quantity}`, individuals, unit, labels)}
${movingRange && controlChart(`Moving ranges of ${quantity}`, movingRange, unit, labels.slice(1))}`
}

function standardSection(of: StandardSeries): Markup {
  return html`<h3>${of.standard}, ${of.quantity}</h3><p class="quiet">Last reading: ${standardWords(of)}.</p>
<ul>${of.says.map(line => html`<li>${line}</li>`)}</ul>${standardChart(of)}`
}
