/** The first power stage by stage, the burn-in with what it counted, and what happened in each run. */
import { formatDuration, formatSi, formatWall, noNumber } from '../base/format.ts'
import { html, type Markup } from './markup.ts'
import { courseCharts } from './unit-record-plots.ts'
import type { UnitRecord, UnitRecordRun } from './unit-record-schema.ts'
import { comparedTable, limitWords, measuredWords, number, table, tight } from './unit-record-tables.ts'
import { hoursWords, newestOf, stateWords } from './unit-record-verdict.ts'

export function firstPowerSection(record: UnitRecord): Markup {
  const { firstPower } = record
  const run = record.runs.find(({ id }) => id === firstPower?.run)
  if (!firstPower || !run) return html`<p>No first power of it is on record.</p>`
  const { unpowered, stages, compared, reason, grade } = firstPower
  return html`<p>${runWords(run)}</p>${newerSays(record, run)}
<p>${unpowered === null ? 'What was found with the plug out is not on record.'
    : `Before it: ${unpowered}.`}</p>
${stages.length === 0 && html`<p>It came to no stage.</p>`}${stages.map((stage, i) =>
  stageSection(stage, compared.length > 0 && i === stages.length - 1))}
<h3>At rest on full mains</h3><p>${grade === null ? 'It came to no result.' : `${grade}: ${reason}.`}</p>
${compared.length === 0 ? html`<p>Nothing was held against its limits.</p>`
    : comparedTable('What was read in the last stage, against its limits', compared)}
${logOf(run)}<h3>Courses</h3>${courseCharts(run)}`
}

type Stage = NonNullable<UnitRecord['firstPower']>['stages'][number]

/** `isCompared`: what was read at its end stands below, with its uncertainty. */
function stageSection({ name, startedWallMs, ways, read, says }: Stage, isCompared: boolean): Markup {
  return html`<h3>Stage ${name}</h3><p>${says === '' ? 'It did not get to its end.' : `${says}.`}</p>
${ways.length === 0 ? html`<p>Asked for ${formatWall(startedWallMs)}; mains did not come on.</p>`
    : html`<ul>${ways.map(way => html`<li>${formatWall(way.wallMs)}: ${way.says}</li>`)}</ul>`}
${isCompared ? html`<p>What was read stands below.</p>`
    : read.length === 0 ? html`<p>Nothing was read on full mains.</p>` : table(
    `Stage ${name} on full mains, as logged (without its uncertainty)`, [
      'What was read', number('Value'), number('Limit'),
      'Whose limit',
    ], read.map(({ of, value, unit, limitLow, limitHigh, source }) => [
      of, formatSi(value, unit, 4), limitWords(limitLow, limitHigh, unit), source || 'not on record',
    ]))}`
}

/** Of a run that came later and is not what is shown. */
function newerSays(record: UnitRecord, shown: UnitRecordRun): Markup | false {
  const newest = newestOf(record, shown.sequence)
  return newest !== null && newest.id !== shown.id
    && html`<p class="warn">The later run ${newest.id} ${stateWords[newest.state]}; this one is earlier.</p>`
}

export const runWords = ({ id, state, startedWallMs, endedWallMs, person, use }: UnitRecordRun): string =>
  `Run ${id}, begun ${formatWall(startedWallMs)} by ${person}, ${use}; it ${stateWords[state]}${
    endedWallMs === null ? ', and has no end on record' : `, ${formatWall(endedWallMs)}`}.`

export function burnInSection(record: UnitRecord): Markup {
  const { burnIn } = record
  const run = record.runs.find(({ id }) => id === burnIn?.run)
  const newest = newestOf(record, 'burn-in')
  if (!burnIn || !run) {
    return html`<p>${newest === null ? 'It was not burned in: nothing shows how it holds over hours.'
      : 'Its burn-in came to no findings.'}</p>${newest && html`<p>${runWords(newest)}</p>${logOf(newest)}
<h3>Courses</h3>${courseCharts(newest)}`}`
  }
  const { says, countedS, askedS, wallS, switchings, lost, compared } = burnIn
  return html`<p>${says}</p><p>${runWords(run)}</p>${newerSays(record, run)}
<dl><dt>Time that counted</dt><dd>${hoursWords(countedS)} of ${hoursWords(askedS)} asked for</dd>
<dt>By the clock on the wall</dt><dd>${hoursWords(wallS)}</dd>
<dt>Times that mains was switched</dt><dd>${switchings}</dd>
${run.continues !== null && html`<dt>Goes on from</dt><dd>run ${run.continues}</dd>`}</dl>
${lost.length === 0 ? html`<p>No time was lost.</p>` : table(
    'Time that did not count, by why; where several held at once, each has the whole of it',
    ['Why', number('Time')],
    lost.map(({ why, seconds }) => [why, formatDuration(seconds)]),
  )}
${driftTable(burnIn)}${warmthTable(burnIn)}
${compared.length === 0 ? html`<p>Nothing of it was held against limits at its end.</p>`
    : comparedTable('Against limits', compared)}
${logOf(run)}<h3>Courses</h3>${courseCharts(run)}`
}

type BurnIn = NonNullable<UnitRecord['burnIn']>

function driftTable({ drifts }: BurnIn): Markup {
  if (drifts.length === 0) return html`<p>No drift was measured.</p>`
  return table('How far each quantity went, under the same drive', [
    'Quantity', number('At the start'), number('At the end'),
    number('Change'), number('Between'), 'So',
  ], drifts.map(({ of, unit, start, end, change, u, hours }) => [
    of, driftedWords(of, unit, start.value, start.u), driftedWords(of, unit, end.value, end.u),
    driftedWords(of, unit, change, u), hours === null ? noNumber : `${formatSi(hours, '', 3)} h`,
    driftWords(change, twice(u)),
  ]))
}

const twice = (u: number | null): number | null => u === null ? null : 2 * u

/** Distortion as people know it, in per cent. */
function driftedWords(of: string, unit: string, value: number | null, u: number | null): string {
  const isShare = /thd/i.test(of) && (unit === '' || unit === '1')
  const scaled = (one: number | null): number | null => one === null || !isShare ? one : 100 * one
  return measuredWords(scaled(value), twice(scaled(u)), isShare ? '%' : unit)
}

const driftWords = (change: number | null, expandedU: number | null): string =>
  change === null || expandedU === null ? 'cannot be told'
    : Math.abs(change) <= expandedU ? 'within its uncertainty' : change > 0 ? 'went up' : 'went down'

function warmthTable({ warmth }: BurnIn): Markup {
  if (warmth.length === 0) return html`<p>No temperature was read.</p>`
  return table('Temperatures', [
    'Place', number('At the end'), 'Steady',
    number('Still to come'), 'By which rule',
  ], warmth.map(({ place, isSteady, steadyAtS, celsius, u, remainingK, remainingU, rule }) => [
    place, measuredWords(celsius, twice(u), '°C'),
    isSteady ? steadyAtS === null ? 'steady' : `steady after ${formatDuration(steadyAtS)}` : 'not steady',
    remainingK === null ? 'cannot be told' : measuredWords(remainingK, twice(remainingU), 'K'), rule,
  ]))
}

/** Steps that waited for a person, trips, warnings and the last word on touching; what there was none of. */
export function logOf(run: UnitRecordRun): Markup {
  const { id, holds, trips, warnings, touch } = run
  return html`<h3>What happened in ${id}</h3>
${holds.length === 0 ? html`<p>No step waited for a person.</p>` : table('Steps that waited for a person', [
    'Step', tight('Asked'), 'Said to go on',
    'Mains meanwhile',
  ], holds.map(({ says, askedWallMs, person, wentOnWallMs, mainsOn }) => [
    says, formatWall(askedWallMs),
    person === null ? 'nobody' : `${person}, ${formatWall(wentOnWallMs)}`, mainsOn ? 'on' : 'open',
  ]))}
${trips.length === 0 ? html`<p>Nothing tripped.</p>` : table('Trips', [
    'What tripped', tight('When'), 'Limit',
    number('To mains off'),
  ], trips.map(({ says, wallMs, limit, faultToDisconnectedMs: ms }) => [
    says, formatWall(wallMs), limit ?? noNumber, ms === null ? 'not read back' : formatSi(ms / 1000, 's'),
  ]))}
${warnings.length > 0 && table('Warnings', ['What was said', tight('When')],
    warnings.map(({ says, wallMs }) => [says, formatWall(wallMs)]))}
<p>${touch === null ? 'This run gave it no mains.' : `Said of touching it: ${touch.words}${
    touch.wallMs === null ? '' : `, ${formatWall(touch.wallMs)}`}.`}</p>`
}
