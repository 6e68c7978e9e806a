/** What a comparison of lots rests on, and what of that the record bears out. */
import type { ComparedQuantity } from '../schema/lots.ts'
import type { LotRun } from './lot-parts.ts'
import { instrumentsOf } from './setup.ts'

export function assumptionsOf(runs: readonly LotRun[], quantities: readonly ComparedQuantity[]): string[] {
  const alarm = quantities.length
  return [
    'the parts of a lot were taken without choice from what it stands for; left-overs of sorting were not',
    'one part says nothing of another',
    'tests of means: lots spread like a normal one, or some thirty parts each; spreads may differ between '
      + 'two lots (Welch), and should not between many (analysis of variance)',
    'the test by order: lots of one shape; Levene\'s test: none; the F of variances: normal lots, strictly',
    sameBench(runs),
    ...alarm > 1
      ? [`${alarm} quantities were tested, each by itself: one of them may seem to differ by chance`] : [],
  ]
}

/** What is the same on record cancels between lots; what is not may be all the difference there is. */
function sameBench(runs: readonly LotRun[]): string {
  const instruments = new Set(runs.map(({ run }) => instrumentsOf(run)
    .map(({ name, identity }) => `${name} ${identity}`).sort().join(', ')))
  if (instruments.has('')) return 'the same instruments were used: the record does not say of every run which'
  if (instruments.size > 1) {
    return 'MIND: the runs were not measured by the same instruments: a difference may be theirs'
  }
  return runs.length > 1
    ? 'instruments were the same in all runs, as on record; their state and the temperature are taken to be'
    : 'all was measured in one run, by the same instruments'
}
