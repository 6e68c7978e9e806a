/** What the demo of screening says before and after: plan, lot, what could not be proven, and the truth. */
import { formatDuration, formatSi } from '../base/format.ts'
import type { Grade, PartResult, RunRecord } from '../schema/run.ts'
import type { ShownScreenPlan } from '../schema/screening.ts'
import { screenPlanLines } from './screen-text.ts'
import { renderTable } from './table.ts'

/** What the simulated bench says of a part when it is asked for the truth. */
export interface PartTruth {
  part: string; kind: string; defect: string | null; truth: string
  /** What a right judgement says. */
  grades: readonly Grade[]
  /** What is wrong does not show in what a list asks of such a part. */
  faint: boolean
}

/** What really happened at the terminals. */
export interface JigAudit {
  wrongs: string[]
  most: { volts: number; amps: number }
  /** Once the hands took the wrong part. */
  mixUp: { asked: string; taken: string; noticed: boolean } | null
}

export interface ScreeningSummary {
  run: RunRecord
  results: readonly PartResult[]
  truth: readonly PartTruth[]
  audit: JigAudit
  /** What `nightbench lot` says of the run. */
  lot: readonly string[]
  records: ReadonlyMap<string, string>
  wallS: number
}

export type Standing = 'right' | 'wrong' | 'undecidable' | 'not proven'

/** How what the bench said of a part stands to the truth; nothing was said where it was not proven. */
export function standingOf({ grades, faint }: PartTruth, grade: Grade | undefined): Standing {
  if (grade === undefined) return 'not proven'
  if (grades.includes(grade)) return 'right'
  const isOpen = grade === 'marginal' || grade === 'cannot tell' || (grade === 'accept' && faint)
  return isOpen ? 'undecidable' : 'wrong'
}

export const screeningOpening = (seed: string, plan: ShownScreenPlan): string[] => [
  'Saltmarsh Pavilion, 1974: an amplifier and its pre-amplifier, every part proven before it goes in.',
  `Nothing here is real; jig, instruments, parts and hands are simulated. Seed ${seed}.`,
  'On a real jig: nothing above touch-safe, and capacitors discharged and measured before they go in.',
  '', ...screenPlanLines({ ...plan, cannot: [] }, []), '',
]

export function screeningLines(summary: ScreeningSummary): string[] {
  const { run, lot, audit, records, wallS } = summary
  const table = compared(summary)
  const [record] = records.values()
  return [
    '', ...lot, '', 'Could not be proven here:',
    ...planOf(run).cannot.map(({ id, why, wayOut }) => `  ${id}: ${why}; ${wayOut}`),
    '', ...record === undefined ? []
      : [`Test records: ${record.slice(0, record.lastIndexOf('/'))} (run.html, and one page a part)`],
    `Run ${run.id}: ${run.state}. ${formatDuration(benchS(run))} of bench time in ${formatDuration(wallS)}.`,
    `At the terminals never more than ${formatSi(audit.most.volts, 'V')} and `
      + `${formatSi(audit.most.amps, 'A')} were set; ${wrongsInWords(audit)}.`,
    ...mixUpInWords(audit),
    '', 'The hidden truth, beside what the bench concluded:',
    ...renderTable(
      ['part', 'what it really is', 'the bench says', 'which is'].map(heading => ({ heading })),
      table.map(({ truth, result, standing }) =>
        [truth.part, truth.truth, result ? `${result.grade}, ${result.disposition}` : '–', standing]), 170),
    ...unsettled(table), '', countedInWords(table.map(({ standing }) => standing)),
  ]
}

export function screeningJson(summary: ScreeningSummary): object {
  const { run, results, audit, records, wallS } = summary
  const table = compared(summary)
  const graded = (wanted: Grade): number => results.filter(({ grade }) => grade === wanted).length
  const count = (wanted: Standing): number => table.filter(({ standing }) => standing === wanted).length
  return {
    parts: table.map(({ truth: { part, kind, defect, truth }, result, standing }) => ({
      part, kind, defect, truth, grade: result?.grade ?? null, disposition: result?.disposition ?? null,
      reason: result?.reason ?? null, standing, record: result ? records.get(result.part) ?? null : null,
    })),
    right: count('right'), wrong: count('wrong'), undecidable: count('undecidable'),
    accepted: graded('accept'), marginal: graded('marginal'), rejected: graded('reject'),
    cannotTell: graded('cannot tell'), notProven: planOf(run).cannot, state: run.state,
    mostV: audit.most.volts, mostA: audit.most.amps, wrongs: audit.wrongs, mixUp: audit.mixUp,
    benchMinutes: Number((benchS(run) / 60).toFixed(2)), wallS: Number(wallS.toFixed(1)),
  }
}

interface Compared { truth: PartTruth; result: PartResult | undefined; standing: Standing }

/** In the order of the list. */
function compared({ truth, results }: ScreeningSummary): Compared[] {
  return truth.map(one => {
    const result = results.find(({ position }) => position === one.part)
    return { truth: one, result, standing: standingOf(one, result?.grade) }
  })
}

/** Why, of parts that were judged wrong or could not be judged. */
function unsettled(table: readonly Compared[]): string[] {
  const lines = table.flatMap(({ truth, result, standing }) =>
    result && (standing === 'wrong' || standing === 'undecidable')
      ? [`  ${truth.part} (${truth.truth}), ${result.grade}: ${result.reason}`] : [])
  return lines.length === 0 ? [] : ['', 'Wrong, or undecidable by what was measured:', ...lines]
}

function countedInWords(standings: readonly Standing[]): string {
  const count = (wanted: Standing): number => standings.filter(one => one === wanted).length
  const proven = standings.length - count('not proven')
  return `Of ${proven} parts ${count('right')} were judged right and ${count('wrong')} wrong; of `
    + `${count('undecidable')} the bench cannot tell, by what was measured.`
}

const wrongsInWords = ({ wrongs }: JigAudit): string =>
  wrongs.length === 0 ? 'no relay moved while a source was on' : `wrong: ${wrongs.join('; ')}`

const mixUpInWords = ({ mixUp }: JigAudit): string[] => mixUp === null ? []
  : [`Once the hands took ${mixUp.taken} for ${mixUp.asked}: ${mixUp.noticed
    ? 'the bench asked, and the right one was put in' : 'nobody noticed'}.`]

const planOf = (run: RunRecord): ShownScreenPlan => run.setup['plan'] as ShownScreenPlan
const benchS = (run: RunRecord): number =>
  ((run.endedWallMs ?? run.startedWallMs) - run.startedWallMs) / 1000
