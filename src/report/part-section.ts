/** What the record says of one part in one run. */
import { formatProbability, formatSi, formatWithU } from '../base/format.ts'
import { gradeWords, isOfPosition, upToWords, type Criterion, type PartResult } from '../schema/run.ts'
import type { InService } from '../schema/service.ts'
import { leakageChart, timeChart } from './chart.ts'
import { html, type Markup } from './markup.ts'
import { inServiceWords } from './service.ts'
import { isAtJig } from './setup.ts'
import type { RecordPart, RunTestRecord } from './record.ts'

export function partSection(part: RecordPart, record: RunTestRecord): Markup {
  const { result, position, note, condition } = part
  return html`<section class="part">
<h2>${part.part} <span class="quiet">on ${position}, ${part.profile}</span></h2>
${result
    ? verdict(result) : html`<p class="verdict">No result.</p>`}
${(note !== '' || (condition && condition !== 'sound')) && html`<p>${condition && condition !== 'sound'
    && html`<span class="warn">Seen by eye: ${condition}.</span> `}${note}</p>`}
${result && result.criteria.length > 0 && criteriaTable(result.criteria)}
${part.inService && serviceLines(part.inService)}
${charts(part, record)}</section>`
}

function verdict(result: PartResult): Markup {
  const { disposition, reason, pConform } = result
  if (isOfPosition(result)) {
    return html`<p class="verdict">${gradeWord(result)}: ${reason}</p>
<p class="quiet">Of the position, with what sat there: the part itself was not judged.</p>`
  }
  return html`<p class="verdict">${gradeWord(result)}: ${disposition}. ${reason}</p>
<p class="quiet">Probability that the part conforms: ${formatProbability(pConform)}.</p>`
}

/** An estimate beside the grade, with all it is made of. */
function serviceLines(service: InService): Markup {
  const { cautions, madeOf } = service
  return html`<p>In its unit, an estimate that is no part of the grade:
<span class="${cautions.length > 0 ? 'warn' : ''}">${inServiceWords(service)}.</span></p>
<ul class="quiet">${madeOf.map(line => html`<li>${line}</li>`)}</ul>`
}

/** The grade in words and colour, provisional said with it. */
export function gradeWord(result: PartResult | null): Markup {
  if (!result) return html`<span class="quiet">none</span>`
  const look = result.grade === 'cannot tell' ? 'cannot' : result.grade
  if (isOfPosition(result)) return html`<span class="${look}">${gradeWords(result)}</span>`
  const { upTo } = result
  return html`<span class="${look}">${result.grade}</span>${result.provisional
    && html` (provisional)`}${upTo && html` ${upToWords(upTo)}`}`
}

const spelled: Partial<Record<Criterion['name'], string>> =
  { esr: 'Series resistance', dissipation: 'Dissipation factor' }
const criterionName = (name: Criterion['name']): string =>
  spelled[name] ?? name[0]!.toUpperCase() + name.slice(1)

function criteriaTable(criteria: readonly Criterion[]): Markup {
  return html`<div class="wide"><table>
<tr><th>Criterion</th><th class="num">Value ± expanded uncertainty</th><th class="num">Limit</th>
<th class="num">Guard band</th><th class="num">Conforms</th><th>Grade</th>
<th>Where the limit comes from</th></tr>
${criteria.map(entry => html`<tr><td>${criterionName(entry.name)}</td>
<td class="num">${formatWithU(entry.value, entry.expandedU, entry.unit)}</td>
<td class="num">${limits(entry)}</td>
<td class="num">${formatSi(entry.guardBand, entry.unit, 2)}</td>
<td class="num">${formatProbability(entry.pConform)}</td>
<td class="tight">${entry.grade}</td><td>${entry.source}</td></tr>`)}
</table></div>`
}

function limits({ limitLow, limitHigh, unit }: Criterion): string {
  if (limitLow !== undefined && limitHigh !== undefined) {
    return `${formatSi(limitLow, unit)} to ${formatSi(limitHigh, unit)}`
  }
  if (limitHigh !== undefined) return `at most ${formatSi(limitHigh, unit)}`
  return limitLow === undefined ? '–' : `at least ${formatSi(limitLow, unit)}`
}

function charts(part: RecordPart, { run, durationS, bus, events, startMs }: RunTestRecord): Markup {
  const common = { endS: durationS, stages: part.stages }
  const marks = events
    .filter(event => event.position === part.position && event.severity !== 'info')
    .map(event => ({ atS: (event.atMs - startMs) / 1000, label: event.text }))
  const volts = part.volts && bus && timeChart({
    ...common, title: `${part.part}: volts of part and bus`, marks,
    lines: [{ label: 'bus', look: 'second', trace: bus }, { label: 'part', look: 'main', trace: part.volts }],
  })
  const temperature = part.caseTemperature && timeChart({
    ...common, title: `${part.part}: case temperature`,
    lines: [{ label: 'case', look: 'main', trace: part.caseTemperature }],
  })
  const bad = (part.leakage?.bad ?? 0) + (part.caseTemperature?.bad ?? 0)
  const leakage = part.decay && leakageChart(`${part.part}: leakage at voltage`, part.decay)
  return html`${volts}${leakage}${temperature}
${!isAtJig(run) && part.caseTemperature === null
  && html`<p class="quiet">No sensor on this can: no temperature was read.</p>`}
${bad > 0 && html`<p class="quiet">${bad} readings were not good and are in no value or line.</p>`}`
}
