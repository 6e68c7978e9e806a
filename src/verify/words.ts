/** Figures and how their claims ended, one sentence each. */
import { formatWithU } from '../base/format.ts'
import { conditionWords, subjectWords } from '../claims/words.ts'
import { expandUncertainty } from '../analysis/uncertainty.ts'
import type { ClaimVerdict } from '../schema/claims.ts'
import type { Conditions, Figure } from '../schema/figure.ts'

/** Shares that people know in per cent. */
const inPercent = new Set<Figure['quantity']>(['thd', 'thd+n', 'intermodulation'])
/** Digits of a condition that was measured. */
const digits = 3

/** `bandstand: output power (45.20 ± 0.61) W, at 2 % THD, 1 kHz, into 250 Ω`. */
export function figureWords(figure: Figure): string {
  const { quantity, channel, value, unit, u, bound, conditions } = figure
  const scale = inPercent.has(quantity) ? 100 : 1
  const expanded = expandUncertainty(u).expanded
  const amount = formatWithU(scale * value, scale * expanded, scale === 100 ? '%' : unit)
  return [
    `${channel === null ? '' : `${channel}: `}${subjectWords[quantity]} ${bound ? `${bound} ` : ''}${amount}`,
    ...conditionWords(quantity, rounded(conditions)),
  ].join(', ')
}

/** As they would be printed: a load of 249.87 Ω is 250 Ω. */
function rounded(conditions: Conditions): Conditions {
  return Object.fromEntries(Object.entries(conditions).map(([key, value]) =>
    [key, typeof value === 'number' ? Number(value.toPrecision(digits)) : value])) as Conditions
}

export const verdictWords = ({ words, end, reason }: ClaimVerdict): string => `${words}: ${end}; ${reason}`
