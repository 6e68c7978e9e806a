/** From a parts list and a policy to what is wanted of each part of a unit. */
import { decide } from '../parts/decide.ts'
import type { UnitLine } from '../report/unit-page.ts'
import { idsOf, type PartsLine } from '../schema/parts-list.ts'
import type { PartsPolicy } from '../schema/parts-policy.ts'

/** One line a part, with what the policy wants of it; without a policy each is to be proven. */
export function unitLines(parts: readonly PartsLine[], policy: PartsPolicy | null): UnitLine[] {
  const decisions = policy ? decide(parts, policy).decisions : []
  return parts.flatMap(part => idsOf(part).map(designator => {
    const decision = decisions.find(one =>
      one.line === part.line && (one.designator === null || one.designator === designator))
    return {
      designator, what: whatOf(part), ratedV: part.ratedV,
      wanted: { action: decision ? decision.action : 'prove' as const, reason: decision?.reason ?? '' },
    }
  }))
}

const whatOf = ({ kind, valueText, ratedV, ratedForm }: PartsLine): string => [
  kind ?? 'of no known kind', valueText,
  ...ratedV === null ? [] : [`${ratedV} V${ratedForm === 'ac' ? ' AC' : ''}`],
].filter(Boolean).join(' ')
