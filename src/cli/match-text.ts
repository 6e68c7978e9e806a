/** Matched sets in words: which part goes where, and what each set differs by. */
import { formatSi } from '../base/format.ts'
import type { MatchAnswer, ShownSet } from '../schema/lots.ts'
import { printable, renderTable } from './table.ts'

const shownLeftMost = 60

export function matchLines(answer: MatchAnswer): string[] {
  const { sets, leftOver, leftOut, quantities, considered, size, remarks, cost } = answer
  const one = sets.length === 1
  const what = size === 2 ? one ? 'pair' : 'pairs' : `${one ? 'set' : 'sets'} of ${size}`
  return [
    `${sets.length} ${what} of ${considered} parts, ${leftOver.length} left over; `
      + `${answer.optimal ? 'the cheapest there can be' : 'not proven the cheapest'}, `
      + `cost ${cost.toPrecision(4)}`,
    ...quantities.map(({ quantity, unit, as, weight, within, per }) =>
      `  by ${quantity}${as === 'ratio' ? ', as a ratio' : ''}: a difference of ${amount(per, unit, as)} `
      + `costs ${weight}${within === null ? ' (the spread of these parts)' : ', and is the most allowed'}`),
    '', ...setTable(answer),
    ...leftOver.length === 0 ? [] : ['', `Left over: ${some(leftOver)}`],
    ...reasons(leftOut),
    ...remarks.length === 0 ? [] : ['', 'Mind:', ...remarks.map(remark => `  - ${remark}`)],
  ].map(printable)
}

const amount = (value: number, unit: string, as: 'difference' | 'ratio', digits = 3): string =>
  as === 'ratio' ? `${Number((100 * value).toPrecision(digits))} %` : formatSi(value, unit, digits)

function setTable({ sets, quantities }: MatchAnswer): string[] {
  const placed = sets.some(({ parts }) => parts[0]!.onto !== null)
  return renderTable([
    { heading: 'set', right: true }, { heading: 'parts' }, ...placed ? [{ heading: 'onto' }] : [],
    ...quantities.map(({ quantity }) => ({ heading: `${quantity} differs by` })),
  ], sets.map((set, i) => [
    String(i + 1), set.parts.map(({ label }) => label).join(' + '),
    ...placed ? [ontoWords(set)] : [],
    ...set.spreads.map((spread, k) => spreadWords(spread, quantities[k]!.as)),
  ]))
}

const ontoWords = ({ parts }: ShownSet): string => parts[0]!.onto === null ? 'spare'
  : parts.map(({ label, onto }) => `${label} to ${onto}`).join(', ')

function spreadWords(
  { difference, expandedU, unit, told, within }: ShownSet['spreads'][0], as: 'difference' | 'ratio',
): string {
  const u = expandedU === null ? ' (uncertainty not known)' : ` ± ${amount(expandedU, unit, as, 2)}`
  const said = [
    ...told ? [] : ['below what can be told'], ...within === 'as read' ? ['limit kept as read'] : [],
  ]
  return `${amount(difference, unit, as)}${u}${said.length > 0 ? `, ${said.join(', ')}` : ''}`
}

const some = (names: readonly string[]): string => names.length <= shownLeftMost ? names.join(' ')
  : `${names.slice(0, shownLeftMost).join(' ')} and ${names.length - shownLeftMost} more`

function reasons(leftOut: MatchAnswer['leftOut']): string[] {
  const by = new Map<string, string[]>()
  for (const { label, why } of leftOut) {
    const those = by.get(why)
    if (those) those.push(label)
    else by.set(why, [label])
  }
  return [...by].map(([why, labels]) => `Not considered (${why}): ${some(labels)}`)
}
