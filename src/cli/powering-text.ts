/** Runs of a whole unit in words: plan, how one stands, what waits for a person. */
import { formatClock, formatDuration, formatMinute, formatSi } from '../base/format.ts'
import type { PoweringPlan, PoweringStatus } from '../schema/powering.ts'
import type { EarlyFailuresAnswer } from '../schema/unit.ts'
import { printable, renderTable } from './table.ts'

const item = (text: string): string => `  - ${text}`
const listed = (head: string, texts: readonly string[]): string[] =>
  texts.length === 0 ? [] : ['', head, ...texts.map(item)]

/** Refusals alone where there are any: the rest would be of a run that never is. */
export function poweringPlanLines(plan: PoweringPlan): string[] {
  if (plan.refusals.length > 0) {
    return ['This cannot be started. Nothing was touched.', ...plan.refusals.flatMap(
      ({ what, have, need, wayOut }) => [item(`${what}: has ${have}, needs ${need}.`), `    ${wayOut}`]),
    ].map(printable)
  }
  const lines = [
    `${plan.sequence} of ${plan.specimen} (${plan.unit}), ${plan.use}`,
    `on ${formatSi(plan.mainsV, 'V')} mains, more than ${formatSi(plan.currentMaxA, 'A')} trips; `
      + `takes about ${formatDuration(plan.expectedS)} and what a person needs between`, '',
    ...renderTable([{ heading: 'step' }, { heading: 'lasts', right: true }],
      plan.steps.map(({ name, seconds }) => [name, formatDuration(seconds)])),
    '', `Read meanwhile: ${plan.watched.join(', ')}`,
    ...listed('Measured:', plan.measured), ...listed('Not measured:', plan.left),
    ...listed('Mind:', plan.warnings), ...listed('Cautions to confirm before a start:', plan.cautions),
  ]
  return lines.map(printable)
}

/** What waits, what is on meanwhile, and how to answer. */
export const holdLines = ({ text, mainsOn }: NonNullable<PoweringStatus['hold']>): string[] => [
  printable(`WAITS (mains ${mainsOn ? 'ON' : 'off'}): ${text}`),
]

/** How it stands, in a few lines: stage, time, what is read. */
export function poweringLines(status: PoweringStatus, wallMs: number): string[] {
  const { hold, quantities } = status
  return [
    `${status.sequence} of ${status.specimen}: ${hold ? 'waits for a person' : status.stage}; `
      + mainsWords(status),
    outlookOf(status, wallMs),
    ...hold ? holdLines(hold) : [],
    ...quantities.length === 0 ? [] : ['', ...quantityTable(quantities)],
  ].map(printable)
}

const mainsWords = ({ way }: PoweringStatus): string =>
  way === null ? 'mains off' : `MAINS ON by way of ${way}`

function outlookOf({ ending, elapsedS, remainingS, counted }: PoweringStatus, wallMs: number): string {
  const inS = `${formatDuration(elapsedS)} in`
  if (ending) {
    return `${ending.as} at ${formatClock(ending.wallMs)}: ${ending.why}; rails are being followed down`
  }
  const counts = counted === null ? ''
    : `; ${formatDuration(counted.countedS)} of ${formatDuration(counted.askedS)} count`
      + `${counted.waits === null ? '' : `, not now: ${counted.waits}`}`
  if (remainingS === null) return `${inS}${counts}`
  const end = formatMinute(wallMs + remainingS * 1000)
  return `${inS}, about ${formatDuration(remainingS)} to go, ending about ${end}${counts}`
}

const quantityTable = (quantities: PoweringStatus['quantities']): string[] => renderTable(
  [{ heading: 'what' }, { heading: 'reads', right: true }, { heading: '±', right: true }],
  quantities.map(({ name, value, u, unit }) =>
    [name, formatSi(value, unit), u === null ? '–' : formatSi(2 * u, unit)]))

/** Of all units of one profile: each with its hours, and what they come to. */
export function earlyFailureLines({ unit, specimens, shown }: EarlyFailuresAnswer): string[] {
  if (shown === null) return [printable(`No burn-in by profile ${unit} is on record.`)]
  const headings = [
    { heading: 'unit' }, { heading: 'run' }, { heading: 'hours', right: true }, { heading: 'failed' },
  ]
  return [
    ...renderTable(headings, specimens.map(({ specimen, run, hours, failed, why }) =>
      [specimen, run, hours.toFixed(1), failed ? why : 'no'])),
    '', shown.says,
  ].map(printable)
}
