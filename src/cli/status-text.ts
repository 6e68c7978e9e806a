/** The bench in words: what goes on, position by position, and what may be touched. */
import { formatClock, formatDuration, formatMinute, formatSi } from '../base/format.ts'
import type { BenchStatus, PositionStatus } from '../schema/application.ts'
import { gradeWords } from '../schema/run.ts'
import { poweringLines } from './powering-text.ts'
import { screenStatusLine } from './screen-text.ts'
import { clip, printable, renderTable, type Column } from './table.ts'

const positionColumns: readonly Column[] = [
  { heading: 'position' }, { heading: 'part' }, { heading: 'stage' }, { heading: 'volts', right: true },
  { heading: 'leakage', right: true }, { heading: 'limit', right: true }, {
    heading: 'of limit', right: true
  },
  { heading: 'case', right: true }, { heading: 'ends' }, { heading: 'verdict' },
]

/** Per position: stage, volts, leakage against its limit, case temperature, verdict or note. */
export function positionTable(positions: readonly PositionStatus[], width = Infinity): string[] {
  return renderTable(positionColumns, positions.map(entry => [
    entry.position, entry.part, entry.stage, formatSi(entry.volts, 'V'), formatSi(entry.leakageA, 'A'),
    formatSi(entry.limitA, 'A'), entry.stage === 'dropped' ? '–' : share(
      entry.leakageA, entry.limitA
    ), formatSi(entry.caseC, '°C'),
    entry.endsWallMs === null ? '–' : formatClock(entry.endsWallMs).slice(0, 5), verdict(entry),
  ]), width)
}

export const untilAcknowledged =
  'Nothing starts until somebody at the bench acknowledges: nightbench ack REASON'

/** The bench in a few lines: what it does and until when, its positions, and what may be touched. */
export function statusLines(status: BenchStatus, width = Infinity): string[] {
  const { run } = status
  const lines = run ? runLines(status, run) : idleLines(status)
  if (status.latched) {
    lines.push(`LATCHED ${formatClock(status.latched.wallMs)}: ${status.latched.text}`)
  }
  const mustAck = status.latched !== null || status.keeper === 'safe'
  if (mustAck && !run && !status.screening && !status.powering) lines.push(untilAcknowledged)
  if (status.left) lines.push(...leftLines(status.left))
  lines.push(...unsafeLines(status.unsafe))
  if (status.keeper === 'gone') lines.push('THE KEEPER IS GONE: the bench has no watchdog')
  if (run && run.positions.length > 0) lines.push(
    '', ...positionTable(run.positions, width), '', ...touchLines(run.positions)
  )
  return lines.map(line => clip(printable(line), width))
}

function idleLines({ bench, energy, screening, powering, keeper, wallMs }: BenchStatus): string[] {
  if (powering) {
    return [
      `${bench}: run ${powering.run}; ${energyWords[energy]}, keeper ${keeper}`,
      ...poweringLines(powering, wallMs), '', 'Back to it: nightbench watch',
    ]
  }
  if (!screening) return [`${bench}: nothing runs; ${energyWords[energy]}`]
  return [
    `${bench}: screening session ${screening.run}; sources may be on, keep hands off while it measures`,
    `  ${screenStatusLine(screening)}`, 'Back to it: nightbench watch',
  ]
}

function leftLines({ run, measuring, positions }: NonNullable<BenchStatus['left']>): string[] {
  return [
    `Left on the bus by run ${run}, which was interrupted${measuring ? '; being bled and measured' : ''}:`,
    ...positions.map(({ position, part, touch }) => `  ${position}  ${part}  ${touch}`),
  ]
}

/** By run, the newest first. */
function unsafeLines(unsafe: BenchStatus['unsafe']): string[] {
  return [...new Set(unsafe.map(({ run }) => run))].flatMap(run => [
    `Not known to be safe to touch since run ${run}:`,
    ...unsafe.filter(one => one.run === run)
      .map(({ position, part, touch }) => `  ${position}  ${part}  ${touch}`),
  ])
}

const energyWords: Record<BenchStatus['energy'], string> = {
  off: 'energy off', live: 'ENERGY ON', bleeding: 'bleeding, not yet safe to touch',
  unknown: 'ENERGY UNKNOWN, do not touch',
}

function runLines(status: BenchStatus, run: NonNullable<BenchStatus['run']>): string[] {
  return [
    `${status.bench}: run ${run.id}, ${run.sequence}, ${run.stage}; `
      + `${energyWords[status.energy]}, keeper ${status.keeper}`,
    `bus ${formatSi(run.busV, 'V')} of ${formatSi(run.targetV, 'V')}; ${outlook(status, run)}`,
  ]
}

const endingWords = { tripped: 'TRIPPED', stopped: 'STOPPED', done: 'done', refused: 'refused' }

/** How long it takes yet; of a run that ends, since when and why, and what is done about its parts. */
export function outlook({ wallMs }: BenchStatus, run: NonNullable<BenchStatus['run']>): string {
  const { ending, remainingS } = run
  const inS = `${formatDuration(run.elapsedS)} in`
  if (ending) {
    return `${endingWords[ending.as]} at ${formatClock(ending.wallMs)}: ${ending.why}. `
      + 'What was on the bus is being bled and measured'
  }
  if (remainingS === null) return inS
  const end = formatMinute(wallMs + remainingS * 1000)
  return `${inS}, about ${formatDuration(remainingS)} to go, ending about ${end}`
}

/** One line for all positions of which the same is to be said. */
function touchLines(positions: readonly PositionStatus[]): string[] {
  const byWords = new Map<string, string[]>()
  for (const { touch, position } of positions) {
    if (touch !== '') byWords.set(touch, [...byWords.get(touch) ?? [], position])
  }
  return [...byWords].map(([words, names]) =>
    `${names.length === positions.length && names.length > 1 ? 'all positions' : names.join(' ')}: ${words}`)
}

function verdict({ grade, disposition, provisional, upTo, note }: PositionStatus): string {
  if (grade === null) return note
  const words = gradeWords({ grade, provisional: provisional === true, ...upTo && { upTo } })
  return [words, disposition].filter(Boolean).join(', ')
}

/** Leakage as a share of its limit; nothing where one of them is no number. */
function share(leakageA: number | null, limitA: number | null): string {
  if (leakageA === null || limitA === null || limitA <= 0 || !Number.isFinite(leakageA)) return '–'
  const percent = 100 * Math.max(0, leakageA) / limitA
  return percent >= 1000 ? '> 10 times' : `${percent < 10 ? percent.toFixed(1) : Math.round(percent)} %`
}
