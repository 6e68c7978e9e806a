/**
 * Holds what was said of parts against what they are. Three questions: do the intervals cover, do as many
 * parts conform as their probabilities of conformance sum to, and are the wrong decisions as many as JCGM 106
 * predicts? Each is answered by an exact test of how many of n trials went one way, each trial with its own
 * chance.
 */
import {
  binomialCdf, binomialTestTwoSided, poissonBinomialTestTwoSided,
} from '../../src/analysis/binomial.ts'
import { normalCdf } from '../../src/analysis/distributions.ts'
import { globalRisks, type Process } from '../../src/analysis/risk.ts'
import type { Judged, JudgedValue, Outcome } from './night.ts'

export interface Interval { readonly value: number; readonly expandedU: number; readonly truth: number }

export interface Coverage {
  readonly n: number
  readonly inside: number
  readonly share: number
  /** Chance of as few or fewer inside, were the coverage 95 %: small when the intervals are too short. */
  readonly pTooShort: number
  /** Two-sided: small when they are too long as well. */
  readonly p: number
}

export const nominal = 0.95

/** How many intervals value ± U hold the truth. `shrink` scales U: the test of the test. */
export function coverage(intervals: readonly Interval[], shrink = 1): Coverage {
  const n = intervals.length
  const inside = intervals.filter(({ value, expandedU, truth }) =>
    Math.abs(value - truth) <= shrink * expandedU).length
  return {
    n, inside, share: inside / n, pTooShort: binomialCdf(inside, n, nominal),
    p: binomialTestTwoSided(inside, n, nominal),
  }
}

export interface Count {
  readonly n: number
  readonly seen: number
  readonly predicted: number
  /** Two-sided exact p value of `seen`, each trial with its own predicted chance. */
  readonly p: number
}

function count(seen: readonly boolean[], chances: readonly number[]): Count {
  const hits = seen.filter(Boolean).length
  return {
    n: seen.length, seen: hits, predicted: chances.reduce((sum, chance) => sum + chance, 0),
    p: seen.length === 0 ? 1 : poissonBinomialTestTwoSided(hits, chances),
  }
}

export const conforms = ({ truth, limits }: JudgedValue): boolean =>
  truth >= (limits.lower ?? -Infinity) && truth <= (limits.upper ?? Infinity)

/** Lower edges of the strata of pConform, within each of which the count must come out. */
const strata = [0, 0.05, 0.25, 0.5, 0.75, 0.95] as const

export interface Calibration {
  readonly all: Count
  readonly strata: readonly (Count & { readonly from: number })[]
}

/**
 * Parts that conform against the sum of their pConform. pConform knows nothing of the process (a flat prior),
 * so it comes out only where true values are drawn flat on the scale of u: here the standard deviation of the
 * draw about a limit is some five u, whose curvature moves a stratum by less than a hundredth.
 */
export function calibration(judged: readonly JudgedValue[]): Calibration {
  const counted = (some: readonly JudgedValue[]): Count =>
    count(some.map(conforms), some.map(({ pConform }) => pConform))
  return {
    all: counted(judged),
    strata: strata.map((from, i) => {
      const to = strata[i + 1] ?? Infinity
      return { from, ...counted(judged.filter(({ pConform }) => pConform >= from && pConform < to)) }
    }),
  }
}

export interface Decisions {
  /** Not conforming and accepted; conforming and not accepted; conforming and rejected. */
  readonly falseAccept: Count
  readonly notAccepted: Count
  readonly falseReject: Count
}

/**
 * Wrong decisions against their chances, given each part's truth, a normal error of its u, and the guard band
 * used.
 */
export function decisions(judged: readonly JudgedValue[]): Decisions {
  const good = judged.filter(conforms)
  const bad = judged.filter(one => !conforms(one))
  return {
    falseAccept: count(bad.map(isAccepted), bad.map(chanceAccepted)),
    notAccepted: count(good.map(one => !isAccepted(one)), good.map(one => 1 - chanceAccepted(one))),
    falseReject: count(
      good.map(({ grade }) => grade === 'reject'), good.map(one => 1 - chanceInside(one, one.guardBand))),
  }
}

const isAccepted = ({ grade }: JudgedValue): boolean => grade === 'accept'
const chanceAccepted = (one: JudgedValue): number => chanceInside(one, -one.guardBand)
const z95 = 1.959963985
const uOf = ({ expandedU }: JudgedValue): number => expandedU / z95

/** Chance that a value of this truth and u falls between the limits widened by `w`. */
function chanceInside(one: JudgedValue, w: number): number {
  const { truth, limits: { lower = -Infinity, upper = Infinity } } = one
  const u = uOf(one)
  return Math.max(0, normalCdf((upper + w - truth) / u) - normalCdf((lower - w - truth) / u))
}

export interface Global { readonly consumer: Count; readonly producer: Count }

/**
 * Global risks by JCGM 106: the truth itself is drawn from the known normal process of each part, and not
 * looked at.
 */
export function globalRisk(drawn: readonly { judged: Judged; process: Process }[]): Global {
  const risks = drawn.map(({ judged, process }) =>
    globalRisks(process, uOf(judged), judged.limits, judged.guardBand))
  const all = drawn.map(({ judged }) => judged)
  return {
    consumer: count(all.map(one => !conforms(one) && isAccepted(one)), risks.map(({ consumer }) => consumer)),
    producer: count(all.map(one => conforms(one) && !isAccepted(one)), risks.map(({ producer }) => producer)),
  }
}

export interface Score {
  readonly parts: number
  /** Parts that left without a formal reading, and runs that did not end by themselves. */
  readonly left: number
  readonly tripped: number
  readonly asRead: Coverage
  readonly coverage: Record<Judged['name'], Coverage>
  readonly calibration: Record<Judged['name'], Calibration>
  readonly decisions: Record<Judged['name'], Decisions>
  readonly global: { readonly capacitance: Global; readonly esr: Global }
  /** Parts accepted by all criteria of which at least one does not conform. */
  readonly acceptedWrongly: { readonly accepted: number; readonly wrongly: number }
}

const criteria = ['leakage', 'capacitance', 'esr'] as const

/** `kind`: whose leakage is held against truth at rated voltage; everything else counts all parts. */
export function score(outcomes: readonly Outcome[], kind: Outcome['leakageKind'] = 'steady'): Score {
  const read = outcomes.filter(({ asRead }) => asRead !== null)
  const judged = (name: Judged['name']): Judged[] => read
    .filter(({ leakageKind }) => name !== 'leakage' || leakageKind === kind)
    .flatMap(outcome => outcome.judged.filter(one => one.name === name))
  const by = <T>(f: (of: Judged[]) => T) =>
    Object.fromEntries(criteria.map(name => [name, f(judged(name))])) as Record<Judged['name'], T>
  const drawn = (name: Judged['name'], prior: 'priorF' | 'priorOhm') => read.flatMap(outcome => {
    const [process, one] = [outcome[prior], outcome.judged.find(found => found.name === name)]
    return process && one ? [{ judged: one, process }] : []
  })
  const accepted = read.filter(({ grade }) => grade === 'accept')
  return {
    parts: outcomes.length, tripped: outcomes.filter(({ state }) => state !== 'done').length,
    left: outcomes.filter(({ state, asRead }) => state === 'done' && asRead === null).length,
    asRead: coverage(read.map(({ asRead }) => ({ ...asRead!, expandedU: z95 * asRead!.u }))),
    coverage: by(of => coverage(of)), calibration: by(calibration), decisions: by(decisions),
    global: {
      capacitance: globalRisk(drawn('capacitance', 'priorF')), esr: globalRisk(drawn('esr', 'priorOhm')),
    },
    acceptedWrongly: {
      accepted: accepted.length, wrongly: accepted.filter(({ judged: all }) => !all.every(conforms)).length,
    },
  }
}

/** A test fails below this p value. */
export const pFails = 0.001

/**
 * What an undisturbed study must pass. Intervals may be too long (bounded errors never reach the tails of a
 * normal one), never too short; with normal errors the rates must be the predicted ones, both ways.
 */
export function failures(of: Score, errors: 'normal' | 'rectangular'): string[] {
  const { asRead, calibration, decisions, global } = of
  const tests: [string, number][] = [
    ['as read', asRead.pTooShort],
    ...criteria.map((name): [string, number] => [`coverage of ${name}`, of.coverage[name].pTooShort]),
  ]
  if (errors === 'normal') {
    tests.push(
      ['capacitance two-sided', of.coverage.capacitance.p], ['esr two-sided', of.coverage.esr.p],
      ['as read two-sided', asRead.p],
      ...criteria.map((name): [string, number] => [`conforming by ${name}`, calibration[name].all.p]),
      ...(['capacitance', 'esr'] as const).flatMap((name): [string, number][] => [
        [`false accepts by ${name}`, decisions[name].falseAccept.p],
        [`not accepted by ${name}`, decisions[name].notAccepted.p],
        [`false rejects by ${name}`, decisions[name].falseReject.p],
        [`consumer's risk of ${name}`, global[name].consumer.p],
        [`producer's risk of ${name}`, global[name].producer.p],
      ]),
    )
  }
  return tests.filter(([, p]) => !(p > pFails)).map(([what, p]) => `${what} (p ${p.toExponential(1)})`)
}
