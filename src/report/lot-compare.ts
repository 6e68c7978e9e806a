/** Lots side by side: what they measure, whether they differ, and what that rests on. Pure; SI units. */
import { oneWayAnova } from '../analysis/lots/anova.ts'
import {
  compareLots, leveneTest, mannWhitney, spreadPartsLeast, type LotComparison,
} from '../analysis/lots/comparison.ts'
import { histogram } from '../analysis/lots/histogram.ts'
import { grubbsTest } from '../analysis/lots/outliers.ts'
import { tQuantile } from '../analysis/distributions.ts'
import { mean, median, sd, uOfMean } from '../analysis/statistics.ts'
import { BenchError } from '../base/errors.ts'
import type { CompareAnswer, ComparedQuantity, CompareRequest, ShownTest } from '../schema/lots.ts'
import type { Criterion } from '../schema/run.ts'
import { assumptionsOf } from './lot-assumptions.ts'
import { comparisonWords } from './lot-compare-words.ts'
import { isChosen, partsOfRun, partsOfRuns, valueWords, type LotPart, type LotRun } from './lot-parts.ts'

/** One lot of one quantity. */
export interface Lot {
  readonly name: string
  readonly parts: readonly LotPart[]
  readonly read: readonly Criterion[]
  readonly values: Float64Array
}

/** Beyond so many lots nobody reads differences two by two. */
const pairedMost = 12

/** Throws REFUSED where there are no two lots with a quantity in common. */
export function compareRuns(runs: readonly LotRun[], request: CompareRequest): CompareAnswer {
  const lots = lotsOf(runs, request)
  const names = [...new Set([...lots.values()].flat().flatMap(({ measured }) => [...measured.keys()]))]
  const asked = names.filter(name => request.quantity === undefined || name === request.quantity)
  const leftOut: string[] = []
  const quantities = asked.flatMap(name => {
    const those = withQuantity(lots, name, request.by, leftOut)
    return those.length < 2 ? [] : [compared(name, those, request.confidence)]
  })
  if (quantities.length === 0) {
    throw new BenchError('REFUSED', 'there are no two lots to compare', {
      expected: 'two lots of two measured parts each, with a quantity in common',
      got: `${lots.size} by ${request.by}${names.length > 0 ? `, with ${names.join(', ')}` : ''}`,
    })
  }
  return {
    runs: runs.map(({ run }) => run.id), by: request.by, confidence: request.confidence, quantities, leftOut,
    assumptions: assumptionsOf(runs, quantities),
  }
}

/** A run is a lot as it stands; within runs a part counts once. */
function lotsOf(runs: readonly LotRun[], { by, choice }: CompareRequest): Map<string, LotPart[]> {
  const all = by === 'run' ? runs.flatMap(partsOfRun) : partsOfRuns(runs).parts
  const nameOf: Record<CompareRequest['by'], (part: LotPart) => string> = {
    run: ({ run }) => run, kind: ({ kind }) => kind ?? 'no kind', value: valueWords,
    line: ({ line }) => line === null ? 'no list' : `line ${line}`,
  }
  const lots = new Map<string, LotPart[]>()
  for (const part of all) {
    if (!isChosen(part, choice) || !(choice.grades ?? [part.grade]).includes(part.grade)) continue
    const name = nameOf[by](part)
    const lot = lots.get(name)
    if (lot) lot.push(part)
    else lots.set(name, [part])
  }
  return lots
}

/** Lots of other things have other quantities; of runs it is told where one has not what another has. */
function withQuantity(
  lots: Map<string, LotPart[]>, quantity: string, by: CompareRequest['by'], leftOut: string[],
): Lot[] {
  return [...lots].flatMap(([name, all]) => {
    const parts = all.filter(({ measured }) => measured.has(quantity))
    const read = parts.map(({ measured }) => measured.get(quantity)!)
    const values = Float64Array.from(read, ({ value }) => value)
    if (parts.length >= 2) return [{ name, parts, read, values }]
    if (parts.length === 1) leftOut.push(`${quantity} of ${name}: of one part alone`)
    else if (by === 'run') leftOut.push(`${quantity} of ${name}: not measured`)
    return []
  })
}

function compared(quantity: string, lots: readonly Lot[], confidence: number): ComparedQuantity {
  const limits = lots.flatMap(({ read }) => read.map(({ expandedU }) => expandedU))
    .filter(u => Number.isFinite(u) && u > 0)
  const of: Omit<ComparedQuantity, 'says'> = {
    quantity, unit: lots[0]!.read[0]!.unit,
    lots: lots.map(({ name, values }) => ({
      lot: name, n: values.length, mean: mean(values), s: sd(values), median: median(values),
      least: values.reduce((a, b) => Math.min(a, b)), most: values.reduce((a, b) => Math.max(a, b)),
      ...meanBounds(values, confidence), bins: histogram(values),
    })),
    tests: testsOf(lots, 1 - confidence), differences: differencesOf(lots, confidence),
    expandedU: limits.length === 0 ? null : median(limits),
  }
  return { ...of, says: comparisonWords(of, confidence, farParts(lots)) }
}

/** By Student's t; what readings share is not in it. */
function meanBounds(
  values: Float64Array, confidence: number,
): Pick<ComparedQuantity['lots'][number], 'meanLow' | 'meanHigh'> {
  const half = sd(values) > 0 ? tQuantile((1 + confidence) / 2, values.length - 1) * uOfMean(values) : NaN
  const bound = (of: number): number | null => Number.isFinite(of) ? of : null
  return { meanLow: bound(mean(values) - half), meanHigh: bound(mean(values) + half) }
}

/** Parts that stand far from the rest of their lot by Grubbs' test at 5 %. */
function farParts(lots: readonly Lot[]): string[] {
  return lots.flatMap(({ name, parts, values }) => {
    if (values.length < 3 || sd(values) === 0) return []
    const { index, outlier } = grubbsTest(values)
    return outlier ? [`${parts[index]!.name} of ${name}`] : []
  })
}

const withins = (lots: readonly Lot[]): number => lots.filter(({ values }) => sd(values) > 0).length

function testsOf(lots: readonly Lot[], alpha: number): ShownTest[] {
  const values = lots.map(lot => lot.values)
  const shown = (name: string, asks: string, made: () => { statistic: number; p: number }): ShownTest => {
    const { statistic, p } = withins(lots) > 0 ? made() : { statistic: NaN, p: NaN }
    const isMade = Number.isFinite(p)
    return {
      name, asks, p: isMade ? p : null, differs: isMade ? p < alpha : null,
      statistic: Number.isFinite(statistic) ? statistic : null,
    }
  }
  const levene = shown('Levene, about medians', 'spreads', () => {
    const { f, p } = leveneTest(values)
    return { statistic: f, p }
  })
  if (lots.length > 2) {
    return [shown('analysis of variance', 'means', () => {
      const { f, p } = oneWayAnova(values)
      return { statistic: f, p }
    }), levene]
  }
  const [first, second] = values as [Float64Array, Float64Array]
  const both = withins(lots) === 2
  const whole = both ? compareLots(first, second) : null
  const spreads = Math.min(first.length, second.length) < spreadPartsLeast ? null : whole
  return [
    shown('Welch t', 'means', () => ({ statistic: whole?.means.t ?? NaN, p: whole?.means.p ?? NaN })),
    shown('Mann and Whitney', 'order', () => {
      const { u, p } = mannWhitney(first, second)
      return { statistic: u, p }
    }),
    levene,
    shown('F of variances', 'spreads, of normal lots', () =>
      ({ statistic: spreads?.variances.f ?? NaN, p: spreads?.variances.p ?? NaN })),
  ]
}

/** Welch's intervals; of many lots at one joint confidence by Bonferroni's rule (common practice). */
function differencesOf(lots: readonly Lot[], confidence: number): ComparedQuantity['differences'] {
  const pairs = lots.flatMap((first, i) => lots.slice(i + 1).map(second => [first, second] as const))
    .filter(both => both.every(({ values }) => sd(values) > 0))
  if (lots.length > pairedMost) return []
  const each = 1 - (1 - confidence) / Math.max(1, pairs.length)
  return pairs.map(([first, second]) => {
    const { difference, low, high, means }: LotComparison = compareLots(first.values, second.values, each)
    const p = Math.min(1, means.p * pairs.length)
    return { first: first.name, second: second.name, difference, low, high, p, differs: p < 1 - confidence }
  })
}
