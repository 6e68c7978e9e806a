/** The last sections of the record of a unit: parts, instruments, what is missing, and how it is checked. */
import { formatWall } from '../base/format.ts'
import { html, type Markup } from './markup.ts'
import { logOf } from './unit-record-log.ts'
import type { UnitRecord, UnitRecordRun } from './unit-record-schema.ts'
import { list, table, tight } from './unit-record-tables.ts'
import { newestOf, stateWords } from './unit-record-verdict.ts'

export function partsSection({ parts }: UnitRecord): Markup {
  if (parts === null) {
    return html`<p>No parts list was given with this record: of what it is made, and what of that was proven,
is not shown.</p>`
  }
  const { summary, policy, remarks, rows } = parts
  return html`<p>${summary}</p>${policy !== null && html`<p class="quiet">By policy ${policy}.</p>`}
${remarks.map(text => html`<p class="quiet">${text}</p>`)}
${rows.length > 0 && table('Each part with what proves it', [
    tight('Designator'), 'Part', 'Stands',
    'Proven by', 'Measured', 'Why',
  ], rows.map(({ designator, what, standing, by, measured, why }) => [
    designator, what, standing, by || 'no result', measured, why,
  ]))}`
}

export function instrumentsSection({ instruments, runs: all }: UnitRecord): Markup {
  if (instruments.length === 0) return html`<p>Identities were not recorded with these runs.</p>`
  return table('Instruments, by what each said of itself', [
    'Name', 'Role', 'Identity it gave', 'Instrument profile',
    'Calibrated', 'In runs',
  ], instruments.map(({ name, role, identity, profile, profileHash, calibrated, calibration, runs }) => [
    name, role || 'not recorded', identity || 'not recorded',
    html`${profile}<br><span class="hash">${profileHash || 'no hash recorded'}</span>`,
    calibrated === undefined ? 'not on record' : calibration,
    runs.length === all.length ? 'all' : runs.join(', '),
  ]))
}

export function leftSection({ left, claims }: UnitRecord): Markup {
  const open = claims.filter(({ end }) => end === 'not measured')
  if (left.length === 0 && open.length === 0) {
    return html`<p>No run says that anything could not be measured.</p>`
  }
  return html`${left.length > 0 && list(left.map(({ run, says }) => `${says} (${run})`))}
${open.length > 0 && html`<p>Claims that no figure answers: ${open.length}, marked “not measured” in the
table of claims.</p>`}`
}

export function integritySection(record: UnitRecord): Markup {
  const { runs, otherRuns, software, burnIn, firstPower, provenBy } = record
  // The newest of each kind is told of in its own section, where none of its kind left findings.
  const told = [
    firstPower?.run, burnIn?.run ?? newestOf(record, 'burn-in')?.id,
    provenBy ?? newestOf(record, 'verify')?.id,
  ]
  return html`<p>Written by ${software}. What a run saw is kept as a chain: its setup, every event, every
batch of readings and every result carries the hash of what came before. The head of each chain is printed
here. Whoever has the record can compute it anew with <code>nightbench report RUN --verify</code>; a record
whose head is not the one printed here is not the one that this page was made of.</p>
${runs.length === 0 ? html`<p>No run of it is on record.</p>` : runs.map(runSheet)}
${otherRuns.length > 0 ? table('Other runs of this unit on record, not shown here', [
    tight('Run'), 'What', tight('Begun'),
    'How it ended', 'Grade',
  ], otherRuns.map(({ id, sequence, startedWallMs, state, grade }) => [
    id, sequence, formatWall(startedWallMs), stateWords[state], grade ?? 'none',
  ])) : html`<p>No other run of this unit ${record.wasAll ? 'is on record' : 'was found'}.</p>`}
${!record.wasAll && html`<p class="warn">Only the newest runs of the bench were looked through; older ones of
this unit may be on record.</p>`}
${runs.filter(({ id }) => !told.includes(id)).map(logOf)}`
}

function runSheet(run: UnitRecordRun): Markup {
  const { id, sequence, use, state, startedWallMs, endedWallMs, person, software, chainHead, chain } = run
  return html`<h3>Run ${id}</h3><dl class="whole">
<dt>What</dt><dd>${sequence}, ${use}; it ${stateWords[state]}</dd>
<dt>Begun</dt><dd>${formatWall(startedWallMs)} by ${person}</dd>
<dt>Ended</dt><dd>${endedWallMs === null ? 'no end on record' : formatWall(endedWallMs)}</dd>
<dt>Software</dt><dd>${software}</dd>
<dt>Unit profile</dt><dd>${run.unitProfile} <span class="hash">${run.unitProfileHash}</span></dd>
<dt>Head of its chain</dt><dd class="hash">${chainHead}</dd>
<dt>Chain recomputed</dt><dd>${chainWords(chain)}</dd></dl>`
}

function chainWords(chain: UnitRecord['runs'][number]['chain']): Markup {
  if (chain === null) return html`not for this page`
  return chain.holds ? html`holds from first to last link`
    : html`<span class="warn">BROKEN at ${chain.firstBreak}</span>`
}
