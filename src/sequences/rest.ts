/** Whether parts have rested between forming and their closing reading. Pure. */
import type { PlanInput } from '../engine/sequence.ts'
import type { Refusal } from '../schema/application.ts'

/** Without voltage before the closing test: 12 to 48 h (a standard's preconditioning text on a shop's page, second hand). */
export const restLeastS = 12 * 3600
export const restMostS = 48 * 3600

const hours = (seconds: number): string => `${(seconds / 3600).toFixed(1)} h`

/** Too fresh is refused; too long ago, or not on record, is said. */
export function rest({ parts, formedAgoS }: Pick<PlanInput<unknown>, 'parts' | 'formedAgoS'>): { refusals: Refusal[]; warnings: string[] } {
  const refusals: Refusal[] = []
  const warnings: string[] = []
  const names: { late: string[]; unknown: string[] } = { late: [], unknown: [] }
  for (const { loaded: { part, position } } of parts) {
    const agoS = formedAgoS.get(part)
    if (agoS === undefined) names.unknown.push(part)
    else if (agoS < restLeastS) {
      refusals.push({ what: `rest of ${part} since its forming`, have: hours(agoS), need: `at least ${hours(restLeastS)}`, position,
        wayOut: `wait another ${hours(restLeastS - agoS)}, or run reform again` })
    } else if (agoS > restMostS) names.late.push(`${part} (${hours(agoS)})`)
  }
  if (names.late.length > 0) {
    warnings.push(`Rested for more than ${hours(restMostS)}: ${names.late.join(', ')}. The reading tells how the forming was kept, `
      + `not what it was after the usual ${hours(restLeastS)} to ${hours(restMostS)}.`)
  }
  if (names.unknown.length > 0) {
    warnings.push(`No forming on record: ${names.unknown.join(', ')}. Nobody knows how long they rested; ${hours(restLeastS)} to `
      + `${hours(restMostS)} is usual.`)
  }
  return { refusals, warnings }
}
