/** What became of a lot of which a sample was measured, in words. */
import type { SampleDrawn } from '../schema/sampling.ts'
import type { LotJudged } from './sample.ts'

/** What was decided, what that rests on, and what it does not say. */
export function lotWords(sample: SampleDrawn, { outcome, bad, open, after, change }: LotJudged): string {
  const { n, lotSize, ac, re, inspection } = sample
  const rest = lotSize - n
  const counts = `${bad} bad of ${n} measured, ${ac} allowed${re > ac + 1 ? `, refused from ${re}` : ''}`
  const untold = open > 0 ? `; ${open} of them without a grade that tells` : ''
  const head = outcome === 'undecided' ? `lot undecided: ${counts}${untold}: measure those`
    : `lot ${outcome}: ${counts}${untold}`
  const next = outcome === 'undecided' ? '' : nextWords(inspection, after, change)
  return head + next + (rest > 0 ? `. ${rest} parts were not measured and have no grade` : '')
}

function nextWords(before: string, after: LotJudged['after'], change: string | null): string {
  if (after === null) return '; inspected again, so it counts for no switching'
  if (change === null) return `; ${before} inspection goes on`
  const follows = after.inspection === 'stopped'
    ? 'inspection is stopped' : `${after.inspection} inspection follows`
  return `; ${follows}: ${change}`
}
