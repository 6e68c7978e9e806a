/** A comparison of lots as one HTML page that needs nothing else, and as a table for a spreadsheet. */
import { formatSi } from '../base/format.ts'
import type { CompareAnswer, ComparedQuantity } from '../schema/lots.ts'
import { csvLine } from './csv.ts'
import { sure } from './lot-compare-words.ts'
import { html, type Markup } from './markup.ts'
import { page } from './page.ts'
import { intervalChart, stripChart } from './row-charts.ts'

/** A list of many values has as many quantities; pictures of the first do, the tables have them all. */
const chartedMost = 20

export function compareHtml(of: CompareAnswer): string {
  const { runs, by, confidence, quantities, leftOut, assumptions } = of
  return page('Comparison of lots', html`
<dl><dt>${runs.length === 1 ? 'Run' : 'Runs'}</dt><dd>${runs.join(', ')}</dd>
<dt>A lot is</dt><dd>${lotWords[by]}</dd><dt>Confidence</dt><dd>${sure(confidence)}</dd></dl>
${quantities.map((of, i) => section(of, confidence, i < chartedMost))}
${leftOut.length > 0 && html`<h2>Not compared</h2><ul>${leftOut.map(line => html`<li>${line}</li>`)}</ul>`}
<h2>What this rests on</h2><ul>${assumptions.map(line => html`<li>${line}</li>`)}</ul>`)
}

const lotWords: Record<CompareAnswer['by'], string> = {
  run: 'all of one run', kind: 'all of one kind', value: 'all of one value', line: 'a line of the list',
}

function section(of: ComparedQuantity, confidence: number, charted: boolean): Markup {
  const { quantity, unit, lots, differences, expandedU, says } = of
  return html`<h2>${quantity}</h2>
<ul>${says.map(line => html`<li>${line}</li>`)}</ul>
${charted && stripChart(
  `${quantity}: how the lots lie`,
  lots.map(one => ({
    ...one, label: `${one.lot}, ${one.n}`, value: one.mean, low: one.meanLow, high: one.meanHigh,
  })),
  unit, expandedU, stripKey(of, confidence))}
${lotTable(of)}
${charted && intervalChart(
  `${quantity}: differences of the means`,
  differences.map(({ first, second, difference, low, high }) =>
    ({ label: `${second} less ${first}`, value: difference, low, high })),
  unit, `Lines: intervals, ${differences.length > 1 ? 'all together ' : ''}at ${sure(confidence)}; one that
holds zero shows no difference.`)}
${testTable(of)}`
}

function stripKey({ expandedU, unit }: ComparedQuantity, confidence: number): string {
  const reading = expandedU === null ? ''
    : ' Broken line at the top right, where it fits: what one reading is sure to, '
      + `± ${formatSi(expandedU, unit, 2)}.`
  return 'Bars: parts by value, each lot by its own highest. Dot and line below: mean with its interval at '
    + `${sure(confidence)}, of the scatter alone.${reading}`
}

function lotTable({ lots, unit }: ComparedQuantity): Markup {
  return html`<div class="wide"><table><tr><th>Lot</th><th class="num">Parts</th><th class="num">Mean</th>
<th class="num">Its interval</th><th class="num">s</th><th class="num">Median</th><th class="num">Least</th>
<th class="num">Most</th></tr>
${lots.map(one => html`<tr><td>${one.lot}</td><td class="num">${one.n}</td>
<td class="num">${formatSi(one.mean, unit, 5)}</td>
<td class="num">${one.meanLow === null ? '–'
  : `${formatSi(one.meanLow, unit, 5)} to ${formatSi(one.meanHigh, unit, 5)}`}</td>
<td class="num">${formatSi(one.s, unit, 2)}</td><td class="num">${formatSi(one.median, unit, 5)}</td>
<td class="num">${formatSi(one.least, unit, 5)}</td>
<td class="num">${formatSi(one.most, unit, 5)}</td></tr>`)}</table></div>`
}

function testTable({ tests }: ComparedQuantity): Markup {
  return html`<div class="wide"><table><tr><th>Test</th><th>Of</th><th class="num">p</th><th>Says</th></tr>
${tests.map(({ name, asks, p, differs }) => html`<tr><td>${name}</td><td>${asks}</td>
<td class="num">${p === null ? '–' : p < 0.0001 ? '< 0.0001' : p.toFixed(4)}</td>
<td>${p === null ? 'cannot be made' : differs ? 'differ' : 'no difference shown'}</td></tr>`)}
</table></div>`
}

/** One row a lot, a difference or a test. A lot's value is its mean, a test's its statistic. */
export function compareCsv({ quantities }: CompareAnswer): string {
  return csvLine([
    'quantity', 'unit', 'what', 'name', 'parts', 'value', 'low', 'high', 's', 'median', 'least', 'most', 'p',
    'differs',
  ]) + quantities.flatMap(({ quantity, unit, lots, tests, differences }) => [
    ...lots.map(one => [
      quantity, unit, 'lot', one.lot, one.n, one.mean, one.meanLow, one.meanHigh, one.s, one.median,
      one.least, one.most, null, null,
    ]),
    ...differences.map(({ first, second, difference, low, high, p, differs }) => [
      quantity, unit, 'difference', `${second} less ${first}`, null, difference, low, high,
      null, null, null, null, p, String(differs),
    ]),
    ...tests.map(({ name, asks, statistic, p, differs }) => [
      quantity, '', 'test', `${name} (${asks})`, null, statistic, null, null, null, null, null, null, p,
      differs === null ? null : String(differs),
    ]),
  ]).map(csvLine).join('')
}
