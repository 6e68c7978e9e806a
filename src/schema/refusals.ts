/** Refusals as people are told them: what holds of several positions is said once, with all of them. */
import type { Plan } from './application.ts'

export type Refusal = Plan['refusals'][number]

export function eachOnce(refusals: readonly Refusal[]): Refusal[] {
  const told = new Map<string, Refusal>()
  for (const refusal of refusals) {
    const { what, have, need, wayOut, position } = refusal
    const same = JSON.stringify([what, have, need, wayOut, position === undefined])
    const before = told.get(same)
    if (before === undefined) told.set(same, refusal)
    else if (position !== undefined) told.set(same, { ...before, position: `${before.position} ${position}` })
  }
  return [...told.values()]
}
