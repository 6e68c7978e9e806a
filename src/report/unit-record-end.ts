/** The last sections of the record of a unit: parts, instruments, what is missing, and how it is checked. */
import { formatWall } from '../base/format.ts'
import { html, type Markup } from './markup.ts'
import { logOf } from './unit-record-log.ts'
import type { UnitRecord } from './unit-record-schema.ts'
import { list, table, tight } from './unit-record-tables.ts'
import { stateWords } from './unit-record-verdict.ts'

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

export function instrumentsSection({ instruments }: UnitRecord): Markup {
  if (instruments.length === 0) return html`<p>Identities were not recorded with these runs.</p>`
  return table('Instruments, by what each said of itself', [
    'Name', 'Role', 'Identity it gave', 'Instrument profile',
    'Calibrated', 'In runs',
  ], instruments.map(({ name, role, identity, profile, profileHash, calibrated, calibration, runs }) => [
    name, role || 'not recorded', identity || 'not recorded',
    html`${profile}<br><span class="hash">${profileHash || 'no hash recorded'}</span>`,
    calibrated === undefined ? 'does not measure' : calibration, runs.join(', '),
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
  const told = [burnIn?.run, firstPower?.run, provenBy]
  // Where no burn-in left findings, its section tells of the newest.
  const burnt = burnIn === null ? runs.findLast(({ sequence }) => sequence === 'burn-in')?.id : undefined
  const rest = runs.filter(({ id }) => !told.includes(id) && id !== burnt)
  return html`<p>Written by ${software}. What a run saw is kept as a chain: its setup, every event, every
batch of readings and every result carries the hash of what came before. The head of each chain is printed
here. Whoever has the record can compute it anew with <code>nightbench report RUN --verify</code>; a record
whose head is not the one printed here is not the one that this page was made of.</p>
${runs.length === 0 ? html`<p>No run of it is on record.</p>` : table('Runs that this record is made of', [
    tight('Run'), 'What', tight('Begun and ended'),
    'By', 'Unit profile', 'Head of its chain', 'Checked',
  ], runs.map(run => [
    run.id, html`${run.sequence}, ${run.use}<small>${stateWords[run.state]}</small>`,
    html`${formatWall(run.startedWallMs)}<small>${
      run.endedWallMs === null ? 'no end on record' : formatWall(run.endedWallMs)}</small>`,
    html`${run.person}<small>${run.software}</small>`,
    html`${run.unitProfile}<br><span class="hash">${run.unitProfileHash}</span>`,
    html`<span class="hash">${run.chainHead}</span>`, chainWords(run.chain),
  ]))}
${otherRuns.length > 0 ? table('Other runs of this unit on record, not shown here', [
    tight('Run'), 'What', tight('Begun'),
    'How it ended', 'Grade',
  ], otherRuns.map(({ id, sequence, startedWallMs, state, grade }) => [
    id, sequence, formatWall(startedWallMs), stateWords[state], grade ?? 'none',
  ])) : html`<p>No other run of this unit ${record.wasAll ? 'is on record' : 'was found'}.</p>`}
${!record.wasAll && html`<p class="warn">Only the newest runs of the bench were looked through; older ones of
this unit may be on record.</p>`}
${rest.map(logOf)}`
}

function chainWords(chain: UnitRecord['runs'][number]['chain']): Markup {
  if (chain === null) return html`not for this page`
  return chain.holds ? html`holds from first to last link`
    : html`<span class="warn">BROKEN at ${chain.firstBreak}</span>`
}
