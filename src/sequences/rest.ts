/** Whether parts have rested between forming and their closing reading. Pure. */
import type { PlanInput } from '../engine/sequence.ts'
import type { Plan } from '../schema/application.ts'
import { restLeastS, restMostS } from '../schema/rest.ts'

export { restLeastS, restMostS }

const hours = (seconds: number): string => `${(seconds / 3600).toFixed(1)} h`
const usual = `${hours(restLeastS)} to ${hours(restMostS)}`

/** Too fresh is refused; too long ago, or not on record, is said. */
export function rest(
  { parts, formedAgoS }: Pick<PlanInput<unknown>, 'parts' | 'formedAgoS'>,
): Pick<Plan, 'refusals' | 'warnings'> {
  const refusals: Plan['refusals'] = []
  const late: string[] = []
  const unknown: string[] = []
  for (const { loaded: { part, position } } of parts) {
    const agoS = formedAgoS.get(part)
    if (agoS === undefined) { unknown.push(part); continue }
    if (agoS > restMostS) late.push(`${part} (${hours(agoS)})`)
    if (agoS >= restLeastS) continue
    refusals.push({
      what: `rest of ${part} since its forming`, have: hours(agoS), need: `at least ${hours(restLeastS)}`,
      position, wayOut: `wait another ${hours(restLeastS - agoS)}, or run reform again`,
    })
  }
  const warnings = [
    ...late.length === 0 ? [] : [`Rested longer than the usual ${usual}: ${late.join(', ')}. `
      + 'The reading tells how well the forming was kept.'],
    ...unknown.length === 0 ? [] : [`No forming on record: ${unknown.join(', ')}. `
      + `How long they rested is not known; ${usual} is usual.`],
  ]
  return { refusals, warnings }
}
