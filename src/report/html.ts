/** The test record as one HTML page that needs nothing else: it can be mailed, printed and kept. */
import { formatCount, formatDuration, formatWall } from '../base/format.ts'
import { calibrationWords } from '../schema/calibration.ts'
import { timeChart, type Mark } from './chart.ts'
import { html, type Markup } from './markup.ts'
import { page } from './page.ts'
import { endTable } from './end-table.ts'
import { gradeWord, partSection } from './part-section.ts'
import {
  dispositionWords, grades, gradeWords, judgesPositions, type RunEvent,
} from '../schema/run.ts'
import type { PartTestRecord, RunTestRecord } from './record.ts'
import { sequenceOriginOf, type RecordInstrument } from './setup.ts'

/** The page of one run, or of one part over all its runs. */
export function recordHtml(record: RunTestRecord | PartTestRecord): string {
  return 'runs' in record ? partPage(record) : runPage(record)
}

function runPage(record: RunTestRecord): string {
  return page(`Test record of run ${record.run.id}`, html`${endTable(record)}${outcome(record)}
${head(record)}${record.parts.length > 1 && partsTable(record)}
${record.bus && busChart(record)}
${record.parts.map(part => partSection(part, record))}
${instruments(record)}${eventTable(record)}`)
}

function partPage(record: PartTestRecord): string {
  return page(`Test record of part ${record.part}`, html`
<p class="quiet">${record.runs.length === 1 ? 'One run' : `${record.runs.length} runs`}, newest first.</p>
${record.runs.map(run => html`
<h2>Run ${run.run.id}, ${run.run.sequence}, ${formatWall(run.run.startedWallMs)}</h2>
${endTable(run)}${closing(run)}${head(run)}${run.parts.map(part => partSection(part, run))}
${instruments(run)}${eventTable(run)}`)}`)
}

const stateWords: Record<RunTestRecord['run']['state'], string> = {
  prepared: 'prepared, not started', running: 'still running; what follows is not final',
  done: 'ran to its end',
  tripped: 'ended by a trip', stopped: 'stopped by a person', interrupted: 'interrupted before its end',
  refused: 'refused; nothing was energised',
}

function head({ run, durationS, chainHead, chain, continues, continuedBy, jig }: RunTestRecord): Markup {
  const own = sequenceOriginOf(run)
  return html`<dl>
<dt>Bench</dt><dd>${run.bench}</dd><dt>Sequence</dt><dd>${run.sequence}, ${run.use}</dd>
${own && html`<dt>Its own file</dt><dd>${own.file} <span class="hash">${own.hash}</span></dd>`}
<dt>Outcome</dt><dd>${stateWords[run.state]}</dd>
${continues && html`<dt>Continues</dt><dd>run ${continues}</dd>`}
${continuedBy && html`<dt>Continued by</dt><dd>run ${continuedBy}</dd>`}
<dt>Started</dt><dd>${formatWall(run.startedWallMs)} by ${run.person}</dd>
<dt>Ended</dt><dd>${run.endedWallMs === null
  ? html`${run.state === 'running' ? 'not yet' : 'not known'}; ${formatDuration(durationS)} are on record`
  : html`${formatWall(run.endedWallMs)}, after ${formatDuration(durationS)}`}</dd>
${jig && html`<dt>Jig</dt><dd>${jig}</dd>`}
<dt>Software</dt><dd>${run.software}</dd>
<dt>Head of the record's chain</dt><dd class="hash">${chainHead}</dd>
${chain && html`<dt>Chain recomputed</dt><dd class="${chain.holds ? '' : 'warn'}">${chain.holds
  ? 'holds from first to last link' : `BROKEN at ${chain.firstBreak}`}</dd>`}
</dl>`
}

function outcome(record: RunTestRecord): Markup {
  const { parts } = record
  const counts = new Map<string, number>()
  for (const grade of grades) {
    for (const { result } of parts) {
      if (result?.grade !== grade) continue
      const words = gradeWords({ ...result, provisional: false })
      counts.set(words, (counts.get(words) ?? 0) + 1)
    }
  }
  const words = [...counts].map(([grade, count]) => `${count} ${grade}`)
  const ungraded = parts.filter(part => part.result === null).length
  if (ungraded > 0) words.push(`${ungraded} without a grade`)
  const counted = formatCount(parts.length, judgesPositions(record.run) ? 'position' : 'part')
  return html`<p class="verdict">${counted}: ${words.join(', ')}.</p>${closing(record)}`
}

/** Which grades are open, from when to when they may be closed, and what is not known of the rest. */
function closing({ parts, restNotes }: RunTestRecord): Markup {
  const open = parts.filter(part => part.result?.provisional).length
  const window = parts.find(part => part.closes)?.closes
  const count = `${open} of these ${open === 1 ? 'grades is' : 'grades are'} provisional`
  return html`${open > 0 && html`<p>${count}: a second formal reading (<code>leakage-soak</code>), without
voltage in between, closes a grade ${window
  ? html`from <strong>${formatWall(window.fromWallMs)}</strong> to
 <strong>${formatWall(window.toWallMs)}</strong>
 (12 to 48 h after the end of this run).` : html`12 to 48 h after forming.`}</p>`}
${restNotes.map(note => html`<p><span class="warn">Note:</span> ${note}</p>`)}`
}

function partsTable({ parts }: RunTestRecord): Markup {
  return html`<h2>Parts</h2><div class="wide"><table>
<tr><th>Position</th><th>Part</th><th>Profile</th><th>Grade</th><th>Do</th><th>Why</th></tr>
${parts.map(({ position, part, profile, result }) => html`<tr><td>${position}</td>
<td class="tight">${part}</td>
<td>${profile}</td><td>${gradeWord(result)}</td><td>${(result && dispositionWords(result)) || '–'}</td>
<td>${result?.reason ?? 'no result'}</td></tr>`)}
</table></div>`
}

function busChart(record: RunTestRecord): Markup {
  const chart = timeChart({
    title: 'Bus volts over the run', endS: record.durationS, marks: marksOf(record),
    lines: [{ label: 'bus', look: 'main', trace: record.bus! }],
  })
  return html`<h2>The run</h2>${chart ?? html`<p class="quiet">No good reading of the bus.</p>`}`
}

function instruments(record: RunTestRecord): Markup {
  const roles = record.instruments.some(entry => entry.role !== '')
  const dated = record.instruments.some(entry => entry.calibrated !== undefined)
  const table = record.instruments.length === 0
    ? html`<p class="quiet">Their identities were not recorded with this run.</p>`
    : html`<div class="wide"><table>
<tr><th>Name</th>${roles && html`<th>Role</th>`}<th>Identity it gave</th><th>Instrument profile</th>
${dated && html`<th>Calibrated</th>`}</tr>
${record.instruments.map(entry => html`<tr><td>${entry.name}</td>
${roles && html`<td>${entry.role || '–'}</td>`}
<td>${entry.identity || 'not recorded'}</td>
<td>${entry.profile}<br><span class="hash">${entry.profileHash || 'no hash recorded'}</span></td>
${dated && html`<td>${calibrationCell(entry, record.run)}</td>`}</tr>`)}
</table></div>`
  return html`<h2>Instruments</h2>${table}${record.partProfiles.length > 0 && html`<h2>Part profiles</h2>
<div class="wide"><table><tr><th>Name</th><th>Hash</th></tr>${record.partProfiles.map(({ name, hash }) =>
    html`<tr><td>${name}</td><td class="hash">${hash}</td></tr>`)}</table></div>`}`
}

const calibrationCell = ({ calibrated }: RecordInstrument, { startedWallMs }: RunTestRecord['run']): string =>
  calibrated === undefined ? '–' : calibrationWords(calibrated, startedWallMs)

const eventsShown = 300

/** Trips and warnings always; of the rest, the first that fit. */
function eventTable({ events, startMs }: RunTestRecord): Markup {
  const weighty = events.filter(event => event.severity !== 'info')
  const light = events.filter(event => event.severity === 'info').slice(
    0, Math.max(0, eventsShown - weighty.length)
  )
  const shown = [...weighty, ...light].sort((a, b) => a.seq - b.seq)
  const left = events.length - shown.length
  return html`<h2>Events</h2><div class="wide"><table>
<tr><th>Time</th><th>Into the run</th><th>Position</th><th>What happened</th></tr>
${shown.map(event => html`<tr><td class="tight">${formatWall(event.wallMs)}</td>
<td class="tight">${formatDuration((event.atMs - startMs) / 1000)}</td><td>${event.position ?? ''}</td>
<td>${weight(event)}${event.text}</td></tr>`)}
</table></div>
${left > 0 && html`<p class="quiet">${left} more events without warning are in the JSON record.</p>`}`
}

const weight = ({ severity }: RunEvent): Markup | false =>
  severity !== 'info' && html`<span class="warn">${severity}:</span> `

/** Trips and fatal events as marks on the time axis. */
function marksOf({ events, startMs }: RunTestRecord): Mark[] {
  return events.filter(event => event.severity === 'trip' || event.severity === 'fatal')
    .map(event => ({ atS: (event.atMs - startMs) / 1000, label: event.text }))
}
