/** The record of a unit as one page that needs nothing else, for print and for a buyer; from its data. */
import { formatSi, formatWall } from '../base/format.ts'
import { html, type Markup } from './markup.ts'
import { page } from './page.ts'
import { claimsSection, figuresSection } from './unit-record-figures.ts'
import { integritySection, instrumentsSection, leftSection, partsSection } from './unit-record-end.ts'
import { burnInSection, firstPowerSection, logOf, runWords } from './unit-record-log.ts'
import { plotsSection } from './unit-record-plots.ts'
import type { UnitRecord } from './unit-record-schema.ts'
import { list } from './unit-record-tables.ts'
import { newestOf } from './unit-record-verdict.ts'

export function unitRecordPage(record: UnitRecord): string {
  const { specimen, madeWallMs, unit, alarms, touch } = record
  const isAlarmed = alarms.length > 0 || touch?.isSafe === false
  return page(`Test record of unit ${specimen}`, html`
<p>${unit?.description ?? 'What it is, no run on record says.'}</p>
<p class="quiet">Written ${formatWall(madeWallMs)}.</p>
${isAlarmed && alarmSection(record)}${verdictSection(record)}
<nav aria-label="In this record"><ul>${sections.map(({ id, heading }) =>
  html`<li><a href="#${id}">${heading}</a></li>`)}</ul></nav>
${sections.map(({ id, heading, body }) =>
  html`<section id="${id}"><h2>${heading}</h2>${body(record)}</section>`)}`)
}

interface Section { readonly id: string; readonly heading: string; body(record: UnitRecord): Markup }

const sections: readonly Section[] = [
  { id: 'unit', heading: 'The unit', body: unitSection },
  { id: 'cautions', heading: 'Cautions', body: ({ cautions }) => cautions.length === 0
    ? html`<p>None beside those of the sections below.</p>` : list(cautions) },
  { id: 'claims', heading: 'What it is claimed to do, and what was measured', body: claimsSection },
  { id: 'figures', heading: 'Figures', body: record => html`${figuresSection(record)}${verifyLog(record)}` },
  { id: 'curves', heading: 'Curves', body: plotsSection },
  { id: 'burn-in', heading: 'Burn-in', body: burnInSection },
  { id: 'first-power', heading: 'First power', body: firstPowerSection },
  { id: 'parts', heading: 'Parts', body: partsSection },
  { id: 'instruments', heading: 'Instruments and calibration', body: instrumentsSection },
  { id: 'left', heading: 'What could not be measured', body: leftSection },
  { id: 'integrity', heading: 'How far this record can be trusted', body: integritySection },
]

/** What went wrong and what may not be touched, before anything else. */
function alarmSection({ alarms, touch }: UnitRecord): Markup {
  return html`<section class="alarm"><h2>What happened, and what may not be touched</h2>
${alarms.map(({ says }) => html`<p class="warn">${says}</p>`)}
${touch === null ? html`<p>No run on record gave it mains, so none says whether it may be touched.</p>`
    : html`<p class="${touch.isSafe ? '' : 'warn'}">${touch.words} (${touch.run}${
      touch.wallMs === null ? '' : `, ${formatWall(touch.wallMs)}`}).</p>`}
${alarms.some(({ state }) => state === 'tripped')
  && html`<p>It gets no mains again before what tripped it was found.</p>`}</section>`
}

const endLook: Readonly<Record<UnitRecord['verdict']['end'], string>> = {
  'all met': 'accept', 'some not met': 'reject', 'some cannot be told': 'cannot', 'nothing proven': 'cannot',
  'nothing claimed': 'cannot',
}
const endWords: Readonly<Record<UnitRecord['verdict']['end'], string>> = {
  'all met': 'It does what it is claimed to do.',
  'some not met': 'It does not do all that it is claimed to do.',
  'some cannot be told': 'Not all that it is claimed to do was shown.',
  'nothing proven': 'Nothing that it is claimed to do was shown.',
  'nothing claimed': 'Nothing is claimed of it.',
}

function verdictSection({ verdict: { end, says, limits } }: UnitRecord): Markup {
  return html`<section id="verdict"><h2>Verdict</h2>
<p class="verdict"><span class="${endLook[end]}">${endWords[end]}</span> ${says[0]}</p>
${says.length > 1 && list(says.slice(1))}
<h3>What this shows, and what it does not</h3>${list(limits)}</section>`
}

function unitSection({ unit, specimen, claims }: UnitRecord): Markup {
  if (unit === null) return html`<p>No run of ${specimen} on record has a unit profile.</p>`
  const { name, supply, channels, profileHash } = unit
  return html`<dl><dt>Specimen</dt><dd>${specimen}</dd><dt>Type</dt><dd>${name}</dd>
<dt>Supply</dt><dd>${supplyWords(supply)}</dd>
${channels.map(({ name: channel, output, isValve, loadOhm, ratedW }) => html`<dt>Channel ${channel}</dt>
<dd>rated ${formatSi(ratedW, 'W')} into ${formatSi(loadOhm, 'Ω')}, output ${
  output.replace('-', ' ')}${isValve && ', valves'}</dd>`)}
<dt>Claims</dt><dd>${claims.length}, each in its words below</dd>
<dt>Unit profile</dt><dd class="hash">${profileHash}</dd></dl>`
}

function supplyWords(supply: NonNullable<UnitRecord['unit']>['supply']): string {
  const { kind, voltageV, frequencyHz, currentMaxA, protection, fuse } = supply
  return [
    `${kind === 'mains' ? 'mains' : 'DC'} ${formatSi(voltageV, 'V')}`,
    ...frequencyHz === null ? [] : [`${frequencyHz} Hz`], `at most ${formatSi(currentMaxA, 'A')}`,
    ...protection === null ? [] : [`case ${protection === 'unknown' ? 'of unknown protection' : protection}`],
    ...fuse === null ? [] : [`fuse ${fuse}`],
  ].join(', ')
}

/** Of the run that measured, or of the newest that was to. */
function verifyLog(record: UnitRecord): Markup | false {
  const run = record.runs.find(({ id }) => id === record.provenBy) ?? newestOf(record, 'verify')
  return run !== null && html`<p>${runWords(run)}</p>${logOf(run)}`
}
