/** How a run ended: every part with its verdict, or why it has none, and what may be touched. */
import { formatDuration } from '../base/format.ts'
import { leftOutCells, leftOutOf, whatWasSaid } from '../report/left-out.ts'
import { partsOf } from '../report/setup.ts'
import { touchLines } from '../report/touch-lines.ts'
import {
  dispositionWords, gradeWords, type PartResult, type RunEvent, type RunRecord,
} from '../schema/run.ts'
import { hasEnded } from './exit.ts'
import { printable, renderTable } from './table.ts'

const endedEarly: ReadonlySet<RunRecord['state']> = new Set(['tripped', 'stopped', 'interrupted'])
const headings = ['position', 'part', 'grade', 'do', 'why'].map(heading => ({ heading }))

export function outcomeLines(
  run: RunRecord, results: readonly PartResult[], events: readonly RunEvent[],
): string[] {
  const lasted = run.endedWallMs === null ? ''
    : ` after ${formatDuration((run.endedWallMs - run.startedWallMs) / 1000)}`
  const ended = hasEnded(run)
  const head = ended ? `Run ${run.id} ${endWords[run.state]}${lasted}.`
    : `Run ${run.id} is still ${run.state}.`
  const rows = [
    ...results.map(result => [
      result.position, result.part, gradeWords(result), dispositionWords(result), result.reason,
    ]),
    ...endedEarly.has(run.state) ? withoutVerdict(run, results, events) : [],
    ...ended ? leftOutOf(run).map(leftOutCells) : [],
  ]
  const table = rows.length === 0 ? [] : ['', ...renderTable(headings, rows.sort(byPosition))]
  const touch = ended ? touchLines(run, events).map(printable) : []
  return [printable(head), ...table, ...touch.length > 0 ? ['', ...touch] : []]
}

/** Why a part left a run on the way. */
const leavings: ReadonlySet<string> = new Set(['drop', 'condemned', 'unjudged'])

/** Parts that the run did not come to grade: one that was dropped with what was said then. */
function withoutVerdict(
  run: RunRecord, results: readonly PartResult[], events: readonly RunEvent[],
): string[][] {
  const graded = new Set(results.map(({ position }) => position))
  return partsOf(run).filter(({ position }) => !graded.has(position)).map(({ position, part }) => {
    const left = events.find(event => leavings.has(event.kind) && event.position === position)
    const why = left ? whatWasSaid(left.text, position) : `the run ${endWords[run.state]} before`
    return [position, part, 'none', '', why]
  })
}

const byPosition = ([a = '']: string[], [b = '']: string[]): number =>
  a.localeCompare(b, 'en', { numeric: true })

const endWords: Record<RunRecord['state'], string> = {
  prepared: 'is prepared', running: 'runs', done: 'is done', tripped: 'was ended by a trip',
  stopped: 'was stopped', interrupted: 'was interrupted', refused: 'was refused; nothing was energised',
}
