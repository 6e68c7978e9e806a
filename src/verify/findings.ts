/** From figures and claims to the result of the unit. Pure. */
import { formatCount } from '../base/format.ts'
import { judgeClaim } from '../claims/judge.ts'
import type { WordedClaim } from '../proving/plan.ts'
import type { ClaimEnd, ClaimVerdict } from '../schema/claims.ts'
import type { Figure } from '../schema/figure.ts'
import type { Grade, PartResult } from '../schema/run.ts'
import type { Curve, UnitFindings } from '../schema/unit-findings.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'

export interface Found {
  readonly figures: readonly Figure[]
  readonly curves: readonly Curve[]
  readonly left: readonly string[]
}

export const judged = (
  profile: UnitProfile, claims: readonly WordedClaim[], figures: readonly Figure[],
): ClaimVerdict[] => claims.map(one => judgeClaim(one, figures, profile.channels.map(({ name }) => name)))

const dispositionOf = { accept: 'use', reject: 'replace', 'cannot tell': 'retest' } as const

export function verifyResult(
  profile: UnitProfile, specimen: string, verdicts: readonly ClaimVerdict[], { figures, curves, left }: Found,
): PartResult {
  const count = (end: ClaimEnd): number => verdicts.filter(one => one.end === end).length
  const grade: Extract<Grade, keyof typeof dispositionOf> = count('not met') > 0 ? 'reject'
    : verdicts.length > 0 && count('met') === verdicts.length ? 'accept' : 'cannot tell'
  const unit: UnitFindings = {
    figures: [...figures], claims: [...verdicts], curves: [...curves], left: [...left],
  }
  return {
    position: 'unit', part: specimen, profile: profile.unit, grade, provisional: false,
    disposition: dispositionOf[grade], pConform: togetherOf(verdicts), reason: reasonOf(verdicts, count),
    criteria: [], figures: {}, unit,
  }
}

/** All of them: their product, as if their errors had nothing in common. */
const togetherOf = (verdicts: readonly ClaimVerdict[]): number =>
  verdicts.length === 0 ? NaN : verdicts.reduce((product, { pConform }) => product * pConform, 1)

function reasonOf(verdicts: readonly ClaimVerdict[], count: (end: ClaimEnd) => number): string {
  if (verdicts.length === 0) return 'it claims nothing'
  const all = formatCount(verdicts.length, 'claim')
  const failed = verdicts.filter(({ end }) => end === 'not met').map(({ words }) => words)
  const untold = verdicts.filter(({ end }) => end === 'cannot be told').map(({ words }) => words)
  return [
    `${count('met')} of ${all} met`,
    ...failed.length > 0 ? [`not met: ${distinct(failed)}`] : [],
    ...untold.length > 0 ? [`cannot be told: ${distinct(untold)}`] : [],
  ].join('; ')
}

const distinct = (words: readonly string[]): string => [...new Set(words)].join(' | ')
