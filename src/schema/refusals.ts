/** Refusals as people are told them: what holds of several positions is said once, with all of them. */
import { z } from 'zod'

/** One refusal of a plan: the two numbers that clash, and the way out. */
export const refusal = z.strictObject({
  what: z.string(), have: z.string(), need: z.string(), wayOut: z.string(), position: z.string().optional(),
})
export type Refusal = z.infer<typeof refusal>

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
