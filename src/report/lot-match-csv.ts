/** Matched sets as a table: one row a part, those left over at the end. SI units. */
import type { MatchAnswer } from '../schema/lots.ts'
import { csvLine } from './csv.ts'

export function matchCsv({ sets, quantities, leftOver }: MatchAnswer): string {
  const names = quantities.map(({ quantity, unit }) => `${quantity} (${unit})`)
  const apart = quantities.flatMap(({ quantity, unit, as }) => {
    const what = as === 'ratio' ? 'share' : unit
    return [`set differs in ${quantity} (${what})`, `expanded_uncertainty (${what})`]
  })
  return [
    csvLine(['set', 'part', 'onto', 'run', ...names, ...apart]),
    ...sets.flatMap(({ parts, spreads }, i) => parts.map(({ label, onto, run, values }) => csvLine([
      i + 1, label, onto, run, ...values,
      ...spreads.flatMap(({ difference, expandedU }) => [difference, expandedU]),
    ]))),
    ...leftOver.map(label => csvLine([null, label])),
  ].join('')
}
