/** What became of a lot of which a sample was measured, in words. */
import type { SampleDrawn } from '../schema/sampling.ts'
import type { LotJudged } from './sample.ts'

/** What was decided, what that rests on, and what it does not say. */
export function lotWords(sample: SampleDrawn, judged: LotJudged): string {
  const { outcome, bad, open, measured, after, change } = judged
  const { n, lotSize, ac, re, inspection } = sample
  const rest = lotSize - measured
  const skipped = n - measured
  const allowed = `${ac} allowed${re > ac + 1 ? `, refused from ${re}` : ''}`
  const counts = `${bad} bad of ${measured} measured, ${allowed}`
  const untold = (skipped > 0 ? `; ${skipped} of the ${n} drawn not measured` : '')
    + (open > skipped ? `; ${open - skipped} measured without a grade that tells` : '')
  const head = outcome === 'undecided' ? `lot undecided: ${counts}${untold}: measure those`
    : `lot ${outcome}: ${counts}${untold}`
  const next = outcome === 'undecided' ? '' : nextWords(inspection, after, change)
  return head + next + (rest === 0 ? '' : rest === 1 ? '. 1 part was not measured and has no grade'
    : `. ${rest} parts were not measured and have no grade`)
}

function nextWords(before: string, after: LotJudged['after'], change: string | null): string {
  if (after === null) return '; inspected again, so it counts for no switching'
  if (change === null) return `; ${before} inspection goes on`
  const follows = after.inspection === 'stopped'
    ? 'inspection is stopped' : `${after.inspection} inspection follows`
  return `; ${follows}: ${change}`
}
