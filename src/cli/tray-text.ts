/** A tray in words: what lies where, how many hands it takes, and how its session stands. */
import { formatCount, formatDuration } from '../base/format.ts'
import type { ScreenStatus } from '../schema/screening.ts'
import type { ShownTrayPlan } from '../schema/tray.ts'
import { ranges } from './parts-text.ts'

export function trayLines(plan: ShownTrayPlan): string[] {
  const { layings, handlings, handsS, oneByOneS, byHand, wires, isResumed } = plan
  const savedS = Math.max(0, oneByOneS - handsS)
  const first = isResumed ? 'What lies there from the session before stays where it is. ' : ''
  return [
    `On the tray: ${formatCount(handlings.byHand, 'part')} in ${formatCount(handlings.layings, 'laying')}; `
      + `hands are busy for about ${formatDuration(handsS)}, one by one it would be `
      + `${formatDuration(oneByOneS)} at the jig: ${formatDuration(savedS)} less`,
    ...wires.length === 0 ? [] : [
      `First bare wires, in ${formatCount(wires.length, 'pattern')}: they show which channel leads where, `
        + 'and what each position adds',
    ],
    ...layings.map(({ slots, leads }, i) => `  ${first}laying ${i + 1}, ${leads}: `
      + slots.map(({ position, id, done }) =>
        `${position} ${id}${done ? ' (has its result)' : ''}`).join(', ')),
    ...reasons(byHand).map(([why, ids]) => `  By hand, ${ranges(ids)}: ${why}`),
  ]
}

function reasons(byHand: ShownTrayPlan['byHand']): [string, string[]][] {
  const by = new Map<string, string[]>()
  for (const { id, why } of byHand) by.set(why, [...by.get(why) ?? [], id])
  return [...by]
}

/** What the session waits for at the tray. */
export function trayStatusWords({ tray, stands, asked, paused }: ScreenStatus): string {
  const { stage, laying, of, slots } = tray!
  const at = slots.find(one => one.stands === 'measuring')?.position
  const where = stage === 'parts' ? `laying ${laying} of ${of}` : stage
  const says = stands === 'measuring' ? `${at ?? ''} ${asked ?? ''}: measuring`.trim()
    : waits[stands] ?? stands
  return `${where}: ${says}${paused ? '; paused' : ''}`
}

const waits: Partial<Record<ScreenStatus['stands'], string>> = {
  clearing: 'take everything off the tray', laying: 'lay it, then: laid',
  'in doubt': 'keep, again, measure or skip, with the position',
  'out of control': 'mend the cause, then: adjusted',
}
