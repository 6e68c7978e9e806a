/** Holds what proofs said against what the units are: intervals of each quantity, and how claims ended. */
import { binomialCdf, poissonBinomialProbabilities, poissonBinomialTestTwoSided } from '../../src/analysis/binomial.ts'
import { coverage, nominal, type Coverage } from '../truth/score.ts'
import type { ProvenClaim, ProvenFigure, ProvenUnit } from './session.ts'

export interface Bounds {
  readonly n: number
  readonly right: number
  /** Chance of as few or fewer right, were 97.5 % right: a bound has one side. */
  readonly p: number
}
export interface Ends {
  readonly n: number
  readonly wrong: number
  readonly predicted: number
  /** Chance of as many wrong ones or more, each with the chance that was told. */
  readonly p: number
}
export interface UnitsScore {
  readonly units: number
  readonly notDone: readonly string[]
  readonly coverage: Readonly<Record<string, Coverage>>
  readonly bounds: Bounds
  readonly met: Ends
  readonly notMet: Ends
  /** True claims against the sum of their probabilities. */
  readonly conforming: { readonly n: number; readonly seen: number; readonly predicted: number; readonly p: number }
  readonly untold: number
  readonly benchS: number
  readonly cpuS: number
}

const z95 = 1.959963985

export function scoreUnits(all: readonly ProvenUnit[]): UnitsScore {
  const by = new Map<string, ProvenFigure[]>()
  const told = all.flatMap(({ figures }) => figures)
  for (const figure of told.filter(({ bound }) => bound === null)) {
    by.set(figure.quantity, [...by.get(figure.quantity) ?? [], figure])
  }
  const claims = all.flatMap(one => one.claims)
  const known = claims.filter(({ pConform }) => Number.isFinite(pConform))
  const ended = (end: ProvenClaim['end']): ProvenClaim[] => known.filter(one => one.end === end)
  const total = (of: (one: ProvenUnit) => number): number => all.reduce((sum, one) => sum + of(one), 0)
  return {
    units: all.length,
    notDone: all.filter(({ state }) => state !== 'done').map(({ index, kind, state, why }) => `${index} ${kind}: ${state}, ${why}`),
    coverage: Object.fromEntries([...by].map(([quantity, list]) =>
      [quantity, coverage(list.map(({ value, u, truth }) => ({ value, truth, expandedU: z95 * u })))])),
    bounds: boundsOf(told.filter(({ bound }) => bound !== null)),
    met: endsOf(ended('met').map(({ isTrue, pConform }) => ({ isWrong: !isTrue, chance: 1 - pConform }))),
    notMet: endsOf(ended('not met').map(({ isTrue, pConform }) => ({ isWrong: isTrue, chance: pConform }))),
    conforming: {
      n: known.length, seen: known.filter(({ isTrue }) => isTrue).length,
      predicted: known.reduce((sum, { pConform }) => sum + pConform, 0),
      p: known.length === 0 ? 1 : poissonBinomialTestTwoSided(
        known.filter(({ isTrue }) => isTrue).length, known.map(({ pConform }) => pConform)),
    },
    untold: claims.filter(({ end }) => end === 'cannot be told').length,
    benchS: total(({ benchS }) => benchS), cpuS: total(({ cpuS }) => cpuS),
  }
}

function boundsOf(list: readonly ProvenFigure[]): Bounds {
  const isRight = ({ bound, value, u, truth }: ProvenFigure): boolean =>
    bound === 'at least' ? truth >= value - z95 * u : truth <= value + z95 * u
  const right = list.filter(isRight).length
  return { n: list.length, right, p: binomialCdf(right, list.length, (1 + nominal) / 2) }
}

function endsOf(list: readonly { isWrong: boolean; chance: number }[]): Ends {
  const wrong = list.filter(({ isWrong }) => isWrong).length
  const chances = list.map(({ chance }) => chance)
  const asMany = poissonBinomialProbabilities(chances).slice(wrong).reduce((sum, one) => sum + one, 0)
  return { n: list.length, wrong, predicted: chances.reduce((sum, one) => sum + one, 0), p: Math.min(1, asMany) }
}

/** At or below this something is wrong, and not by chance. */
const leastP = 1e-3

/** Intervals may be too long where a specification leaves more open than there is; never too short. */
export function unitFailures({ coverage: covered, bounds, met, notMet, notDone }: UnitsScore): string[] {
  return [
    ...Object.entries(covered).filter(([, { pTooShort }]) => pTooShort <= leastP).map(([name]) => `intervals of ${name}`),
    ...bounds.n > 0 && bounds.p <= leastP ? ['bounds'] : [],
    ...met.p <= leastP ? ['claims called met'] : [], ...notMet.p <= leastP ? ['claims called not met'] : [],
    ...notDone.length > 0 ? [`${notDone.length} proofs that did not come to their end`] : [],
  ]
}

const shown = (p: number): string => p < 0.001 ? p.toExponential(1) : p.toFixed(3)

export function unitLines(of: UnitsScore): string[] {
  const { units, coverage: covered, bounds, met, notMet, conforming, untold, benchS, cpuS, notDone } = of
  const ends = ({ n, wrong, predicted, p }: Ends): string =>
    `${n}, wrongly ${wrong}, at most ${predicted.toFixed(1)} predicted, p as many or more ${shown(p)}`
  return [
    ...Object.entries(covered).sort(([a], [b]) => a < b ? -1 : 1).map(([name, { n, inside, share, pTooShort }]) =>
      `covered   ${name.padEnd(18)} ${inside} of ${n} = ${(100 * share).toFixed(1)} %, p too short ${shown(pTooShort)}`),
    `bounds    ${bounds.right} of ${bounds.n} right, p too few ${shown(bounds.p)}`,
    `met       ${ends(met)}`, `not met   ${ends(notMet)}`,
    `true      ${conforming.seen} of ${conforming.n}, predicted ${conforming.predicted.toFixed(1)}, p ${shown(conforming.p)}`,
    `untold    ${untold}`,
    `a unit    ${(benchS / units).toFixed(0)} s of the bench, ${(cpuS / units).toFixed(1)} s of this process with all that is simulated`,
    ...notDone.map(one => `not done  ${one}`),
  ]
}
