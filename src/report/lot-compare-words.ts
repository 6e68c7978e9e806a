/** What tests of lots say, in plain words. */
import { spreadPartsLeast } from '../analysis/lots/comparison.ts'
import { formatSi } from '../base/format.ts'
import type { ComparedQuantity, ShownTest } from '../schema/lots.ts'

type Compared = Omit<ComparedQuantity, 'says'>

/** `far`: parts that stand far from the rest of their lot. */
export function comparisonWords(of: Compared, confidence: number, far: readonly string[]): string[] {
  const says = of.lots.length === 2 ? twoLots(of, confidence) : manyLots(of, confidence)
  says.push(...spreadWords(of), ...orderWords(of), ...measurementWords(of))
  if (far.length > 0) {
    says.push(`${far.join(', ')} ${far.length === 1 ? 'stands' : 'stand'} far from the rest: means and `
      + 'spreads are pulled by that, the test by order hardly')
  }
  const few = of.lots.filter(({ n }) => n < 8)
  if (few.length > 0) {
    says.push(`${few.map(({ lot, n }) => `${lot} has ${n} parts`).join(', ')}: `
      + 'so few show large differences alone')
  }
  return says
}

const percent = (share: number): string => `${(100 * share).toPrecision(3)} %`
const chance = (p: number | null): string => p === null ? '–' : p < 0.001 ? 'fewer than 1 in 1000'
  : `${(100 * p).toPrecision(2)} in 100`
export const sure = (confidence: number): string => `${Number((100 * confidence).toPrecision(4))} %`

function twoLots({ lots, differences: [one], unit }: Compared, confidence: number): string[] {
  const [first] = lots
  if (!one) return ['every part of a lot reads the same: the means cannot be tested']
  const size = formatSi(Math.abs(one.difference), unit, 3)
  const share = first!.mean === 0 ? '' : `, ${percent(Math.abs(one.difference / first!.mean))} of the first`
  const range = `${formatSi(one.low, unit, 3)} to ${formatSi(one.high, unit, 3)} at ${sure(confidence)}`
  if (one.differs) {
    return [`the mean of ${one.second} is ${size} ${one.difference > 0 ? 'higher' : 'lower'} than that of `
      + `${one.first}${share} (second less first: ${range}); lots of one mean differ as much in `
      + `${chance(one.p)} cases`]
  }
  return [`no difference of the means is shown (second less first: ${range}); that is not proof of none: `
    + 'a difference within these bounds would not have been seen']
}

function manyLots({ tests, differences, unit, lots }: Compared, confidence: number): string[] {
  const test = tests.find(({ asks }) => asks === 'means')
  if (!test || test.differs === null) {
    return ['every part of each lot reads the same: the means cannot be tested']
  }
  const apart = differences.filter(({ differs }) => differs)
  const lines = [test.differs
    ? `not all ${lots.length} lots have one mean: lots of one mean differ as much in ${chance(test.p)} cases`
    : `no difference of the means of the ${lots.length} lots is shown, which is not proof of none`]
  for (const { first, second, difference, low, high } of apart) {
    const way = difference > 0 ? 'higher' : 'lower'
    lines.push(`${second} is ${formatSi(Math.abs(difference), unit, 3)} ${way} than ${first} `
      + `(${formatSi(low, unit, 3)} to ${formatSi(high, unit, 3)}, all differences together at `
      + `${sure(confidence)})`)
  }
  if (test.differs && apart.length === 0 && differences.length > 0) {
    lines.push('which of them differ cannot be told two by two: take more parts')
  }
  if (differences.length === 0) lines.push('so many lots are not compared two by two')
  return lines
}

function spreadWords({ tests, lots }: Compared): string[] {
  const levene = tests.find(({ name }) => name.startsWith('Levene'))
  if (!levene) return []
  if (levene.differs === null) return [untestedSpreads(lots)]
  if (!levene.differs) return ['no difference of the spreads is shown']
  const by = [...lots].sort((a, b) => (b.s ?? 0) - (a.s ?? 0))
  const [wide, narrow] = [by[0]!, by.at(-1)!]
  const times = narrow.s ? `, ${(wide.s! / narrow.s).toPrecision(2)} times that of ${narrow.lot}` : ''
  return [`the spreads differ: ${wide.lot} has the widest${times} `
    + `(by chance alone in ${chance(levene.p)} cases)`]
}

function untestedSpreads(lots: Compared['lots']): string {
  const few = lots.filter(({ n }) => n < spreadPartsLeast)
  return few.length > 0
    ? `the spreads are not tested: ${few.map(({ lot, n }) => `${lot} has ${n} parts`).join(', ')}, `
      + 'and that takes three of each'
    : 'the spreads are not tested: within a lot every part lies as far from its median as any other'
}

/** Where the test by order and that of the means disagree, something is odd about the lots. */
function orderWords({ tests }: Compared): string[] {
  const of = (asks: string): ShownTest | undefined => tests.find(one => one.asks === asks)
  const [means, order] = [of('means'), of('order')]
  if (!means || !order || means.differs === order.differs || means.differs === null) return []
  return [`the test by order says otherwise (${chance(order.p)} cases by chance): look for a few parts `
    + 'far off, or a lot that is not spread evenly about its mean']
}

function measurementWords({ differences, expandedU, unit }: Compared): string[] {
  const below = differences.filter(({ differs, difference }) =>
    differs && expandedU !== null && Math.abs(difference) < expandedU)
  return below.length === 0 ? [] : ['what was found is less than the uncertainty of one reading '
    + `(${formatSi(expandedU, unit, 2)}): it counts where instruments, jig and temperature were the same`]
}
