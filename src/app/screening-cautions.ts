/** What a person reads, and confirms to have read, before a session goes above touch-safe. */
import { BenchError } from '../base/errors.ts'
import { formatSi } from '../base/format.ts'
import type { ScreenRequest } from '../schema/screening.ts'
import type { ScreenPlan } from '../screening/plan.ts'

/** None where no group goes behind the cover. */
export function cautionsOf({ groups, mostJ, mostV }: ScreenPlan): string[] {
  if (!groups.some(({ setUp }) => setUp.isCovered)) return []
  return [
    `Up to ${formatSi(mostV, 'V')} and ${formatSi(mostJ, 'J')} stand behind the cover of the jig: enough to `
      + 'hurt. Nobody else has hands at the jig while you screen.',
    'Look before each session: the cover whole and closed all round, its contact wired to the interlock '
      + 'input of the source, the bleeder across the terminals, nothing that conducts reaching out.',
    'Before the first part: pull at the locked cover when you are told to. A bolt that hangs shows in '
      + 'nothing else.',
    'For each part: close the cover, hands off, then press. A button that is wedged, or held by somebody '
      + 'else, is no button.',
    'After a trip, a stop or a power cut the cover stays locked, and what lies behind it may be charged: '
      + 'wait for the bleeder, and prove it dead with a meter that you trust before you touch it.',
  ]
}

/** Throws REFUSED where there are cautions that a person has not confirmed. */
export function refuseUnlessRead(plan: ScreenPlan, { cautionsConfirmed }: ScreenRequest): void {
  if (cautionsConfirmed || cautionsOf(plan).length === 0) return
  throw new BenchError('REFUSED', 'the cautions are not confirmed', {
    expected: 'a person who has read them (--cautions-read)', got: 'no confirmation',
  })
}
