/** What a screening session would do, and how it stands, in words. */
import { formatCount, formatDuration, formatSi, formatWall } from '../base/format.ts'
import { sampleWords } from '../report/sample-words.ts'
import { usualResiduals } from '../schema/compensation.ts'
import type { ScreenStatus, ShownScreenPlan } from '../schema/screening.ts'
import { ranges } from './parts-text.ts'
import { unknownLines } from './plan-text.ts'
import type { ScreenAsked } from './screen-request.ts'
import { printable, renderTable } from './table.ts'
import { trayLines, trayStatusWords } from './tray-text.ts'

export function screenPlanLines(
  plan: ShownScreenPlan, left: ScreenAsked['left'], stated: ScreenAsked['stated'] = [],
): string[] {
  const count = plan.groups.reduce((sum, { parts }) => sum + parts.length, 0)
  const lines = [
    `${formatCount(count, 'part')} in ${formatCount(plan.groups.length, 'group')}, `
      + `about ${formatDuration(plan.expectedS)} with two hands; `
      + `never more than ${formatSi(plan.mostV, 'V')} and ${formatSi(plan.mostA, 'A')} at the jig`
      + (plan.mostJ > 0 ? `, nor ${formatSi(plan.mostJ, 'J')} in a part` : ''),
  ]
  if (count > 0) lines.push('', ...groupTable(plan), '', compensationLine(plan), ...asideLines(plan))
  if (plan.tray) lines.push('', ...trayLines(plan.tray))
  if (stated.length > 0) {
    lines.push('', 'Stated by the list:', ...reasons(stated).map(([why, parts]) =>
      `  ${ranges(parts)}: ${why}`))
  }
  lines.push(...unknownLines(plan.calibration), ...pastDueLines(plan))
  if (plan.cautions) lines.push('', ...cautionLines(plan.cautions))
  if (plan.sample) lines.push('', ...sampleWords(plan.sample))
  if (plan.settled.length > 0) {
    lines.push('', `Not asked for again: ${ranges(plan.settled.map(({ id }) => id))} (there is a result)`)
  }
  if (plan.cannot.length > 0) {
    lines.push('', 'Cannot be proven here:', ...plan.cannot.map(({ id, why, wayOut }) =>
      `  ${id}: ${why}; ${wayOut}`))
  }
  if (left.length > 0) {
    lines.push('', 'Not asked for, by the policy:', ...reasons(left).map(([why, parts]) =>
      `  ${ranges(parts)}: ${why}`))
  }
  return lines.map(printable)
}

/** Where a plan goes above touch-safe. */
export const cautionLines = (cautions: readonly string[]): string[] =>
  ['Read first:', ...cautions.map(caution => printable(`  - ${caution}`))]

const pastDueLines = ({ calibration: { pastDue } }: ShownScreenPlan): string[] =>
  pastDue.length === 0 ? [] : ['', 'Mind:', ...pastDue.map(text => `  - ${text}`)]

/** The groups alone do not come to the whole. */
const asideLines = ({ asideS }: ShownScreenPlan): string[] => asideS === 0 ? []
  : [`Beside the parts, to compensate the jig and for check standards: about ${formatDuration(asideS)}`]

function compensationLine({ compensated, zeros }: ShownScreenPlan): string {
  if (compensated) {
    const { run, wallMs } = compensated
    const first = zeros.length > 0 ? '; first it is seen whether the empty jig still reads the same' : ''
    return `The jig was compensated at ${formatWall(wallMs)} by run ${run}${first}`
  }
  if (zeros.length > 0) return `Asked for first, to compensate the jig: ${zeros.join(', ')}`
  const { leadsOhm, seriesOhm, seriesH, strayF } = usualResiduals
  return `The jig is not compensated: leads count as ${formatSi(leadsOhm, 'Ω', 1)} on two wires, `
    + `on the bridge as ${formatSi(seriesOhm, 'Ω', 1)} and ${formatSi(seriesH, 'H', 1)} in series, `
    + `${formatSi(strayF, 'F', 1)} beside; add --compensate`
}

function groupTable({ groups }: ShownScreenPlan): string[] {
  return renderTable([
    { heading: 'group' }, { heading: 'leads' }, { heading: 'measures' }, { heading: 'up to', right: true },
    { heading: 'and', right: true }, { heading: 'takes', right: true }, { heading: 'parts' },
  ], groups.map(({ leads, measures, mostV, mostA, expectedS, parts, onTray }, i) => [
    String(i + 1), onTray ? 'on the tray' : leads, measures, formatSi(mostV, 'V'), formatSi(mostA, 'A'),
    formatDuration(expectedS),
    ranges(parts),
  ]))
}

function reasons(left: ScreenAsked['left']): [string, string[]][] {
  const by = new Map<string, string[]>()
  for (const { parts, why } of left) by.set(why, [...by.get(why) ?? [], parts])
  return [...by]
}

type Told = NonNullable<ScreenStatus['told']>

/** It calls for what is put in by its name; other things that are asked concern what is in hand. */
export const isCall = ({ tone, text, about }: Told): boolean =>
  tone === 'ask' && (text === about || text === `standard ${about}` || text.startsWith(`the ${about} `))

/** What was told, in a line that needs nothing beside it. */
export function toldLine(told: Told): string {
  const isOfPart = told.tone === 'ask' && told.about !== 'empty jig'
  const asks = isCall(told) ? 'Put in ' : isOfPart ? `${told.about}: ` : ''
  return printable(asks + told.text)
}

/**
 * One line: what may be touched, where that is a question; what is in hand, what the bench waits for, and how
 * many are through.
 */
export function screenStatusLine(status: ScreenStatus): string {
  const { asked, stands, paused, touch, counts, left, tray } = status
  const through = (['accept', 'marginal', 'reject', 'cannot tell'] as const)
    .filter(grade => (counts[grade] ?? 0) > 0).map(grade => `${counts[grade]} ${grade}`).join(', ')
  const head = (touch === undefined ? '' : `${touch} | `) + (asked === null ? '' : `${asked}: `)
  if (tray) {
    return printable(`${trayStatusWords(status)} | ${through || 'none'} through, ${left} left`)
  }
  const isToEmpty = asked === 'empty jig' && stands === 'asking'
  const waitsFor = isToEmpty ? 'take out what lies in the jig, or measure' : !paused ? waits[stands]
    : stands === 'asking' ? 'paused; resume' : `${waits[stands]}; then paused`
  return printable(`${head}${waitsFor} | ${through || 'none'} through, ${left} left`)
}

const waits: Record<ScreenStatus['stands'], string> = {
  clearing: 'take out what lies in the jig', asking: 'put it in', measuring: 'measuring',
  leaving: 'take it out', laying: 'lay the tray, then: laid',
  'in doubt': 'keep, again or skip?',
  'out of control': 'a standard is out of control; mend it, then: adjusted', done: 'done',
}
