/**
 * Matched sets from the parts of runs on record: which part goes into which set, and what the parts of a set
 * differ by, against what the measurement can tell. Pure; SI units.
 */
import { matchPairs } from '../analysis/matching/pairs.ts'
import { matchSets } from '../analysis/matching/sets.ts'
import type { MatchQuantity } from '../analysis/matching/distance.ts'
import { median, robustSd, sd } from '../analysis/statistics.ts'
import { BenchError } from '../base/errors.ts'
import type { MatchAnswer, MatchBy, MatchRequest, ShownSet } from '../schema/lots.ts'
import type { Criterion } from '../schema/run.ts'
import { isChosen, labelsOf, partsOfRuns, type LotPart, type LotRun } from './lot-parts.ts'
import { bestSets, type FoundSets } from './lot-match-few.ts'
import { matchRemarks } from './lot-match-remarks.ts'

/** More would keep the search for longer than anybody waits. */
const partsMost = 5000

interface Chosen { parts: LotPart[]; labels: string[]; leftOut: MatchAnswer['leftOut']; replaced: number }

/** Throws USAGE where what is asked makes no sense, REFUSED where there are no parts for one set. */
export function matchLot(runs: readonly LotRun[], request: MatchRequest): MatchAnswer {
  const chosen = choose(runs, request)
  const { parts, labels, leftOut } = chosen
  const sorts = groupsOf(parts, request.oneOfEach)
  const quantities = request.by.map(by => scaled(by, parts, sorts))
  const found = search(chosen, request, quantities)
  const closest = found.sets.map(set => shownSet(set, chosen, request))
  const unfilled = assign(closest, request)
  const answer: MatchAnswer = {
    size: request.size, considered: parts.length, sets: closest, leftOut, unfilled,
    quantities: quantities.map(({ name, unit, per, by }) => ({
      quantity: name, unit, as: by.as, weight: by.weight, within: by.within ?? null, per,
    })),
    leftOver: found.leftOver.map(i => labels[i]!),
    cost: found.cost, costAtLeast: found.costAtLeast, optimal: found.optimal, remarks: [],
  }
  return { ...answer, remarks: matchRemarks(answer, request, chosen.replaced) }
}

/** Accepted parts that have every quantity; of the others it is said why not. */
function choose(runs: readonly LotRun[], { choice, by, size, oneOfEach }: MatchRequest): Chosen {
  const { parts: all, replaced } = partsOfRuns(runs)
  const meant = all.filter(part => isChosen(part, choice))
  const names = labelsOf(meant)
  const wanted = choice.grades ?? ['accept']
  const kept: Chosen = { parts: [], labels: [], leftOut: [], replaced }
  meant.forEach((part, i) => {
    const label = names[i]!
    const lacking = by.find(({ quantity }) => !part.measured.has(quantity))
    const why = !wanted.includes(part.grade) ? part.grade
      : lacking ? `no ${lacking.quantity} on record` : unfit(part, by)
    if (why !== null) kept.leftOut.push({ label, why })
    else { kept.parts.push(part); kept.labels.push(label) }
  })
  if (kept.parts.length < size) tooFew(kept, meant, size)
  if (kept.parts.length > partsMost) {
    throw new BenchError('REFUSED', 'there are too many parts to match at once', {
      expected: `at most ${partsMost}: choose by kind or value`, got: String(kept.parts.length),
    })
  }
  if (oneOfEach) refuseUnlessTwoKinds(kept.parts, size)
  return kept
}

/** A ratio needs values above zero. */
const unfit = (part: LotPart, by: readonly MatchBy[]): string | null => {
  const low = by.find(({ quantity, as }) => as === 'ratio' && part.measured.get(quantity)!.value <= 0)
  return low ? `${low.quantity} is not above zero, and ratios were asked for` : null
}

function tooFew({ parts }: Chosen, meant: readonly LotPart[], size: number): never {
  const known = [...new Set(meant.flatMap(({ measured }) => [...measured.keys()]))]
  throw new BenchError('REFUSED', `there are not parts enough for one set of ${size}`, {
    expected: `${size} accepted parts with these quantities (on record: ${known.join(', ') || 'none'})`,
    got: String(parts.length),
  })
}

function refuseUnlessTwoKinds(parts: readonly LotPart[], size: number): void {
  const kinds = new Set(parts.map(({ kind }) => kind))
  if (size === 2 && kinds.size === 2) return
  throw new BenchError('USAGE', 'one of each makes pairs of two kinds', {
    expected: 'a size of 2, and parts of two kinds', got: `${size}, and ${[...kinds].join(', ')}`,
  })
}

/** Indices of the parts that may go together. */
type Sorts = readonly (readonly number[])[]

interface Scaled extends MatchQuantity { unit: string; per: number; by: MatchBy }

/** A weight counts differences in units of the hard limit, or of the spread within a sort. */
function scaled(by: MatchBy, parts: readonly LotPart[], sorts: Sorts): Scaled {
  const values = Float64Array.from(parts, part => part.measured.get(by.quantity)!.value)
  const { unit } = parts[0]!.measured.get(by.quantity)!
  const odd = parts.find(part => part.measured.get(by.quantity)!.unit !== unit)
  if (odd) throw new BenchError('USAGE', `${by.quantity} is on record in more than one unit`)
  const ratio = by.as === 'ratio'
  const per = by.within ?? spreadOf(withinSorts(ratio ? values.map(Math.log) : values, sorts))
  const cost = by.weight / (ratio && by.within !== undefined ? Math.log1p(by.within) : per)
  return {
    name: by.quantity, values, unit, per, by, weight: cost, scale: ratio ? 'ratio' : 'linear',
    ...by.within === undefined ? {} : { limit: by.within },
  }
}

/** Each value less the median of its sort: what sorts differ by matches nothing. */
function withinSorts(values: Float64Array, sorts: Sorts): Float64Array {
  return Float64Array.from(sorts.flatMap(sort => {
    const own = sort.map(i => values[i]!)
    const middle = median(own)
    return own.map(value => value - middle)
  }))
}

/** Robust where that exists: one odd part must not make all others look alike. 1 where none differs. */
function spreadOf(values: Float64Array): number {
  const robust = robustSd(values)
  if (robust > 0) return robust
  const whole = values.length >= 2 ? sd(values) : 0
  return whole > 0 ? whole : 1
}

/** So many parts are divided again and again in a few seconds: by one quantity, in pairs, in larger sets. */
const againMost = { line: 5000, pairs: 500, sets: 150 }

function search(chosen: Chosen, request: MatchRequest, quantities: readonly Scaled[]): FoundSets {
  if (!quantities.some(({ weight }) => weight > 0)) {
    throw new BenchError('USAGE', 'a quantity needs a weight above 0')
  }
  const { size, leftOverCost, onto } = request
  const all = divided(chosen, request, quantities, leftOverCost)
  const n = chosen.parts.length
  const most = quantities.length === 1 ? againMost.line : size === 2 ? againMost.pairs : againMost.sets
  const wanted = Math.floor(onto.length / size)
  if (leftOverCost !== undefined || wanted === 0 || all.sets.length <= wanted || n > most) return all
  return bestSets(all, wanted, n, price => divided(chosen, request, quantities, price))
}

/** Parts of one sort with each other: germanium never goes with silicon, nor an npn with a pnp unasked. */
function divided(
  { parts }: Chosen, { size, oneOfEach }: MatchRequest, quantities: readonly Scaled[],
  leftOverCost: number | undefined,
): FoundSets {
  const price = leftOverCost === undefined ? {} : { leftOverCost }
  const kinds = [...new Set(parts.map(({ kind }) => kind))]
  const found = groupsOf(parts, oneOfEach).map(group => {
    if (group.length < size) return leftOver(group, leftOverCost)
    const own = quantities.map(one => ({ ...one, values: Float64Array.from(group, i => one.values[i]!) }))
    if (size > 2) return onto(group, matchSets({ quantities: own, size, ...price }))
    const sideOf = oneOfEach ? { sideOf: group.map((i): 0 | 1 => parts[i]!.kind === kinds[0] ? 0 : 1) } : {}
    return onto(group, pairsOf(matchPairs({ quantities: own, ...price, ...sideOf }), leftOverCost))
  })
  const sum = (of: (one: FoundSets) => number): number => found.reduce((total, one) => total + of(one), 0)
  return {
    sets: found.flatMap(({ sets }) => sets).sort((a, b) => a.distance - b.distance),
    leftOver: found.flatMap(one => one.leftOver), cost: sum(({ cost }) => cost),
    costAtLeast: sum(({ costAtLeast }) => costAtLeast), optimal: found.every(({ optimal }) => optimal),
  }
}

function groupsOf(parts: readonly LotPart[], oneOfEach: boolean): number[][] {
  const groups = new Map<string, number[]>()
  parts.forEach(({ kind, material }, i) => {
    const sort = `${oneOfEach ? '' : kind} ${material}`
    groups.set(sort, [...groups.get(sort) ?? [], i])
  })
  return [...groups.values()]
}

function pairsOf(found: ReturnType<typeof matchPairs>, leftOverCost = 0): FoundSets {
  const cost = found.distance + found.leftOver.length * leftOverCost
  return {
    sets: found.pairs.map(({ a, b, distance }) => ({ parts: [a, b], distance })), leftOver: found.leftOver,
    cost, costAtLeast: Math.max(0, cost - found.gapAtMost), optimal: true,
  }
}

const leftOver = (group: readonly number[], each = 0): FoundSets => {
  const cost = each * group.length
  return { sets: [], leftOver: group, cost, costAtLeast: cost, optimal: true }
}

/** What was found within a group, by the indices of all parts. */
const onto = (group: readonly number[], found: FoundSets): FoundSets => ({
  ...found, leftOver: found.leftOver.map(i => group[i]!),
  sets: found.sets.map(set => ({ ...set, parts: set.parts.map(i => group[i]!) })),
})

function shownSet(
  { parts: members, distance }: FoundSets['sets'][number], { parts, labels }: Chosen, { by }: MatchRequest,
): ShownSet {
  const values = (i: number): number[] => by.map(({ quantity }) => parts[i]!.measured.get(quantity)!.value)
  return {
    distance, parts: members.map(i => ({
      label: labels[i]!, run: parts[i]!.run, onto: null as string | null, values: values(i),
    })),
    spreads: by.map(one => spreadWithin(one, members.map(i => parts[i]!.measured.get(one.quantity)!))),
  }
}

/** The two that are farthest apart, and whether the measurement can tell that they are. */
function spreadWithin({ quantity, as, within }: MatchBy, read: readonly Criterion[]): ShownSet['spreads'][0] {
  const low = read.reduce((a, b) => b.value < a.value ? b : a)
  const high = read.reduce((a, b) => b.value > a.value ? b : a)
  const ratio = as === 'ratio'
  const difference = ratio ? high.value / low.value - 1 : high.value - low.value
  const [uLow, uHigh] = ratio
    ? [low, high].map(({ expandedU, value }) => expandedU / value * (1 + difference)) as [number, number]
    : [low.expandedU, high.expandedU]
  const u = Math.hypot(uLow, uHigh)
  const expandedU = Number.isFinite(u) && u > 0 ? u : null
  const surely = within !== undefined && difference + (expandedU ?? 0) <= within * (1 + 1e-12)
  return {
    quantity, unit: low.unit, least: low.value, most: high.value, difference, expandedU,
    told: expandedU === null || difference > expandedU,
    within: within === undefined ? null : surely ? 'surely' : 'as read',
  }
}

/** The closest sets go onto the first designators; returns those that were left without. */
function assign(sets: readonly ShownSet[], { onto, size, oneOfEach }: MatchRequest): string[] {
  if (onto.length % size !== 0) {
    throw new BenchError('USAGE', 'designators must fill whole sets', {
      expected: `so many that they divide by ${size}`, got: String(onto.length),
    })
  }
  if (oneOfEach && onto.length > 0) {
    throw new BenchError('USAGE', 'which of two kinds goes onto which designator is not known: leave one out')
  }
  const filled = Math.min(sets.length, onto.length / size)
  for (let i = 0; i < filled; i++) {
    sets[i]!.parts.forEach((part, k) => { part.onto = onto[i * size + k]! })
  }
  return onto.slice(filled * size)
}
