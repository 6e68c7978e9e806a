/** What a study of the gauge says, in plain words. */
import { formatCount, formatSi } from '../base/format.ts'
import type { Found, GaugeAnswer } from '../schema/gauge.ts'

type Answer = Omit<GaugeAnswer, 'says' | 'verdict'>

/** Shares up to which a gauge is called good, and may do; kinds it should tell apart (common practice). */
const goodUpTo = 0.1
const mayDoUpTo = 0.3
const distinctLeast = 5

export function gaugeWords(of: Answer): Pick<GaugeAnswer, 'says' | 'verdict'> {
  const verdict = verdictOf(of)
  return { verdict, says: [
    ...verdictWords(of, verdict), ...sourceWords(of), ...interactionWords(of), ...distinctWords(of),
    ...sureWords(of),
    'what all readings share, like the error of the meter itself, does not show in such a study',
  ] }
}

/** By the tolerance where there is one: what the parts of the study happen to be spread by says less. */
function verdictOf({ shareOfTolerance, shareOfTotal }: Answer): GaugeAnswer['verdict'] {
  const share = shareOfTolerance.value ?? shareOfTotal.value
  if (share === null) return 'not known'
  return share <= goodUpTo ? 'good' : share <= mayDoUpTo ? 'may do' : 'not fit'
}

export const percent = (share: number | null): string =>
  share === null ? '–' : `${Number((100 * share).toPrecision(3))} %`
export const rangeOf = ({ low, high }: Found, show: (value: number | null) => string): string =>
  `${show(low)} to ${high === null ? 'no bound' : show(high)}`

const verdictWord: Record<GaugeAnswer['verdict'], string> = {
  good: 'is good for this', 'may do': 'may do for this', 'not fit': 'is not fit for this',
  'not known': 'cannot be judged: nothing varied',
}

function verdictWords(of: Answer, verdict: GaugeAnswer['verdict']): string[] {
  const { shareOfTolerance, shareOfTotal } = of
  const [share, what] = shareOfTolerance.value === null
    ? [shareOfTotal, 'of the spread of all readings'] as const
    : [shareOfTolerance, 'of the tolerance'] as const
  return [`the jig with these people ${verdictWord[verdict]}: ${percent(share.value)} ${what} `
    + `(${rangeOf(share, percent)}); under 10 % is good, up to 30 % may do (common practice)`]
}

/** Where to look first, if it shall become better. */
function sourceWords({ repeatability, reproducibility, people, unit }: Answer): string[] {
  const [own, between] = [repeatability.value ?? 0, reproducibility.value ?? 0]
  if (own === 0 && between === 0) return []
  if (own >= between) {
    return ['most of it is repeatability: the same person gets another reading of the same part: look at '
      + 'contact, settling and the range']
  }
  const least = people.reduce((a, b) => b.mean < a.mean ? b : a)
  const most = people.reduce((a, b) => b.mean > a.mean ? b : a)
  return [`most of it is reproducibility: ${most.person} reads ${formatSi(most.mean - least.mean, unit, 2)} `
    + `more than ${least.person} on average: look at how each puts parts in`]
}

const interactionWords = ({ interaction: { pooled } }: Answer): string[] => pooled ? []
  : ['people differ by part: some parts are put in otherwise by one of them than by the others']

function distinctWords({ distinct }: Answer): string[] {
  const { value } = distinct
  if (value === null) return []
  const kinds = Math.floor(value)
  if (value >= distinctLeast) return [`it can tell ${kinds} kinds of these parts apart`]
  const few = kinds < 1 ? 'none' : `only ${formatCount(kinds, 'kind')}`
  return [`it can tell ${few} of these parts apart, where ${distinctLeast} are usual (common practice): `
    + 'parts as different as those in use belong in the study']
}

/** Two people say next to nothing of people. */
function sureWords({ people, gauge }: Answer): string[] {
  const { low, high } = gauge
  const wide = low === null || high === null || high > 3 * low
  return wide ? [`the interval is wide: ${people.length} people say little of how people differ`] : []
}
