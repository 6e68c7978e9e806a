/** Everything that a request asks to be measured: a list once, or for a study of the gauge often. Pure. */
import { BenchError } from '../base/errors.ts'
import { SeededRandom } from '../base/random.ts'
import { readingName, type GaugeStudy } from '../schema/gauge.ts'
import type { ScreenRequest } from '../schema/screening.ts'
import { itemsOf, type Listed } from './from-list.ts'
import type { Item } from './grade.ts'

/** Throws USAGE for a study of a sample, REFUSED where there are no two parts of one kind to study. */
export function askedItems(request: ScreenRequest): Listed {
  const listed = itemsOf(request.parts, request)
  const { study } = request
  if (!study) return listed
  if (request.sample) throw new BenchError('USAGE', 'a study of the gauge takes all parts, no sample')
  const { items, cannot } = listed
  const kinds = [...new Set(items.map(({ part }) => part.kind))]
  if (items.length < 2 || kinds.length > 1 || cannot.length > 0) {
    throw new BenchError('REFUSED', 'a study of the gauge needs parts of one kind', {
      expected: 'two parts or more, of one kind, that can be proven',
      got: `${items.length} such parts (${kinds.join(', ') || 'none'}), ${cannot.length} that cannot be`,
    })
  }
  return { ...listed, items: readingsOf(items, request, study) }
}

/**
 * Trial by trial, person by person, so that people change seldom; each gets the parts in another order, so
 * that nobody knows which reading comes again.
 */
function readingsOf(
  items: readonly Item[], { unit }: ScreenRequest, { people, trials, seed }: GaugeStudy,
): Item[] {
  const random = new SeededRandom(seed ?? unit)
  const rounds = Array.from({ length: trials }, (_, i) => i + 1)
    .flatMap(trial => people.map(person => ({ trial, person })))
  return rounds.flatMap(({ trial, person }) => shuffled(items, random).map(({ id, part }) =>
    ({ id: readingName(id, person, trial), part })))
}

function shuffled<T>(items: readonly T[], random: SeededRandom): T[] {
  const order = [...items]
  for (let i = order.length - 1; i > 0; i--) {
    const j = random.integer(0, i)
    ;[order[i], order[j]] = [order[j]!, order[i]!]
  }
  return order
}
