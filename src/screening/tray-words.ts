/** What is said of a laying once it was measured: what to take out, from where, and what to look at. Pure. */
import type { SlotState } from './tray-state.ts'

export function summaryOf(
  slots: readonly SlotState[], { laying, of }: { laying: number; of: number },
): string {
  const parts = slots.filter(({ what }) => what === 'part')
  const graded = (grade: SlotState['grade']): SlotState[] => parts.filter(slot => slot.grade === grade)
  const listed = (some: readonly SlotState[]): string =>
    some.map(({ position, id }) => `${position} ${id}`).join(', ')
  const said = (words: string, some: readonly SlotState[]): string[] =>
    some.length === 0 ? [] : [`${words} ${listed(some)}`]
  const standing = (stands: SlotState['stands']): SlotState[] => parts.filter(slot => slot.stands === stands)
  const questions = [
    ...standing('nothing seen').map(slot => `${listed([slot])}: open, or not there; again, measure or skip?`),
    ...standing('not still').map(slot => `${listed([slot])}: ${slot.says}; again or skip?`),
    ...standing('in doubt').map(slot => `${listed([slot])}: ${doubt(slot, parts)}`),
  ]
  return [
    `laying ${laying} of ${of}: ${graded('accept').length} good`,
    ...said('take out as bad:', graded('reject')),
    ...said('too near a limit to tell:', graded('marginal')),
    ...said('could not be told:', graded('cannot tell')),
    ...said('put off:', standing('put off')),
    ...questions,
  ].join('; ')
}

function doubt({ outcome, id }: SlotState, parts: readonly SlotState[]): string {
  const { says: said, asks, looksLike } = outcome!
  const says = said.startsWith(`${id}: `) ? said.slice(id.length + 2) : said
  if (asks !== undefined) return `${says}. ${asks}`
  const other = parts.find(one => one.id === looksLike)
  const like = other === undefined ? looksLike === null ? '' : `, or ${looksLike}`
    : other.outcome?.strange ? `, or do it and ${other.position} ${other.id} lie in each other's place`
      : `, or ${other.id}, which belongs at ${other.position}`
  return `${says}. Is this ${id}${like}? keep, again or skip`
}
