/** What a person should know before they trust matched sets. */
import { formatCount, formatSi } from '../base/format.ts'
import type { MatchAnswer, MatchRequest } from '../schema/lots.ts'

export function matchRemarks(answer: MatchAnswer, request: MatchRequest, replaced: number): string[] {
  const remarks = answer.quantities.flatMap((_, k) => [...belowTelling(answer, k), ...notSurely(answer, k)])
  const spare = answer.sets.filter(({ parts }) => parts[0]!.onto === null).length
  if (request.onto.length > 0 && spare > 0) {
    remarks.push(`${formatCount(spare, 'set')} more than the designators take: spare`)
  }
  if (answer.unfilled.length > 0) remarks.push(`no set for ${answer.unfilled.join(', ')}`)
  if (replaced > 0) {
    remarks.push(`${formatCount(replaced, 'older result')} of parts measured again: the newest counts`)
  }
  if (!answer.optimal) remarks.push(bound(answer))
  return remarks
}

/** Sets in which the parts were read closer together than two readings can be told apart. */
function belowTelling({ sets, quantities }: MatchAnswer, k: number): string[] {
  const below = sets.filter(({ spreads }) => !spreads[k]!.told)
  if (below.length === 0) return []
  const { quantity, unit, as } = quantities[k]!
  const largest = Math.max(...below.map(({ spreads }) => spreads[k]!.expandedU ?? 0))
  const shown = as === 'ratio' ? `${(100 * largest).toPrecision(2)} %` : formatSi(largest, unit, 2)
  return [`${quantity}: in ${below.length} of ${formatCount(sets.length, 'set')} the parts differ by less `
    + `than the measurement can tell (up to ${shown}): closer figures than that mean nothing`]
}

/** A limit that is kept by the readings, and that the truth may still exceed. */
function notSurely({ sets, quantities }: MatchAnswer, k: number): string[] {
  const open = sets.filter(({ spreads }) => spreads[k]!.within === 'as read').length
  return open === 0 ? [] : [`${quantities[k]!.quantity}: ${formatCount(open, 'set')} of ${sets.length} `
    + `${open === 1 ? 'keeps' : 'keep'} the limit as read, but with the uncertainty may be beyond it`]
}

function bound({ cost, costAtLeast }: MatchAnswer): string {
  const over = costAtLeast > 0
    ? `, so they are at most ${(100 * (cost / costAtLeast - 1)).toPrecision(2)} % above the best` : ''
  return `these sets cost ${cost.toPrecision(4)}; no other choice costs less than `
    + `${costAtLeast.toPrecision(4)}${over}`
}
