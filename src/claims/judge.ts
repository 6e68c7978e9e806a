/**
 * How claims end, by the figures that were measured. Each figure is held against the bounds with a guard
 * band, as parts are; where several count, each at the confidence that leaves 95 % for all of them. The worst
 * decides.
 */
import { judgeConformance, pConform } from '../analysis/conformance.ts'
import { formatProbability, formatWithU } from '../base/format.ts'
import { signedQuantities, type Claim, type ClaimEnd, type ClaimVerdict } from '../schema/claims.ts'
import type { Figure } from '../schema/figure.ts'
import { answerOf, gapIn, type Answer } from './answers.ts'
import { boundWords } from './words.ts'

/** Of a claim as a whole: that it is met, or that it is not. */
const confidence = 0.95

interface Judged {
  readonly figure: Figure
  readonly answer: Answer
  readonly end: ClaimEnd
  /** NaN where a figure that is a bound says nothing. */
  readonly p: number
  readonly margin: number
}

/**
 * `channels`: names of those the unit has; a claim without a channel is of each of them. Figures of other
 * quantities are passed over.
 */
export function judgeClaim(
  { words, claim }: { words: string; claim: Claim }, figures: readonly Figure[], channels: readonly string[],
): ClaimVerdict {
  const places: readonly (string | null)[] = claim.quantity === 'channel balance' ? [null]
    : claim.channel === undefined ? channels : [claim.channel]
  const asked = figures.filter(({ quantity, channel }) =>
    quantity === claim.quantity && places.includes(channel))
  const answered = asked.map(figure => ({ figure, answer: answerOf(claim, figure) }))
  const candidates = answered.filter(({ answer: { fit } }) => fit !== 'none')
  const each = confidence ** (1 / Math.max(1, candidates.length))
  const judged = candidates.map(one => ({ ...one, ...ended(claim, one.figure, each) }))
  // Where more was asked of the unit than is claimed, a failure says nothing.
  const counted = judged.filter(({ answer, end }) => answer.fit === 'same' || end === 'met').sort(fromWorst)
  const missing = places.flatMap(place => {
    const why = missingAt(claim, place, counted, [...answered, ...judged])
    return why === null ? [] : [why]
  })
  const end = endOf(counted, missing)
  return {
    words, claim, end, figures: counted.map(({ figure }) => figure),
    margin: leastOf(counted.map(({ margin }) => margin)), pConform: probabilityOf(end, counted, missing),
    reason: reasonOf(claim, end, counted, missing),
  }
}

function leastOf(margins: readonly number[]): number {
  const known = margins.filter(margin => !Number.isNaN(margin))
  return known.length === 0 ? NaN : Math.min(...known)
}

/** That all figures are within: their product, which is exact for independent errors. */
function probabilityOf(end: ClaimEnd, counted: readonly Judged[], missing: readonly string[]): number {
  if (counted.length === 0 || end === 'cannot be told' && missing.length > 0) return NaN
  const told = end === 'not met' ? counted.filter(({ p }) => !Number.isNaN(p)) : counted
  return told.reduce((product, { p }) => product * p, 1)
}

const fromWorst = (a: Judged, b: Judged): number => rank(a) - rank(b) || a.margin - b.margin
/** What fails first, then what cannot be told. */
const rank = ({ end, p }: Judged): number =>
  end === 'not met' ? p - 2 : end === 'met' ? p + 2 : Number.isNaN(p) ? 0 : p

function endOf(counted: readonly Judged[], missing: readonly string[]): ClaimEnd {
  if (counted.some(({ end }) => end === 'not met')) return 'not met'
  return missing.length === 0 && counted.every(({ end }) => end === 'met') ? 'met' : 'cannot be told'
}

/** One figure against the bounds, at that confidence. */
function ended(
  { quantity, most, ...claim }: Claim, figure: Figure, atConfidence: number,
): Pick<Judged, 'end' | 'p' | 'margin'> {
  const isEven = signedQuantities.includes(quantity) && claim.least === undefined && most !== undefined
  const least = isEven ? -most : claim.least
  const limits = {
    ...least === undefined ? {} : { lower: least }, ...most === undefined ? {} : { upper: most },
  }
  const measured = { y: figure.value, u: figure.u }
  const margin = Math.min(figure.value - (least ?? -Infinity), (most ?? Infinity) - figure.value)
  if (figure.bound !== undefined) return endedByBound(figure.bound, limits, measured, atConfidence)
  const { grade, pConform: p } = judgeConformance(measured, limits, { confidence: atConfidence })
  const end = grade === 'accept' ? 'met' : grade === 'reject' ? 'not met' : 'cannot be told'
  return { end, p, margin }
}

/** A figure that the truth is at most, or at least, tells on one side alone. */
function endedByBound(
  bound: NonNullable<Figure['bound']>, { lower, upper }: { lower?: number; upper?: number },
  { y, u }: { y: number; u: number }, atConfidence: number,
): Pick<Judged, 'end' | 'p' | 'margin'> {
  const isMost = bound === 'at most'
  // At most 3 is met by a claim of at most 4, and fails one of at least 5; nothing else follows.
  const [near, far] = isMost ? [upper, lower] : [lower, upper]
  const shown = (limit: number): number => pConform({ y, u }, isMost ? { upper: limit } : { lower: limit })
  const marginTo = (limit: number): number => isMost ? limit - y : y - limit
  if (far !== undefined && shown(far) >= atConfidence) {
    return { end: 'not met', p: 1 - shown(far), margin: -marginTo(far) }
  }
  if (near !== undefined && far === undefined && shown(near) >= atConfidence) {
    return { end: 'met', p: shown(near), margin: marginTo(near) }
  }
  return { end: 'cannot be told', p: NaN, margin: NaN }
}

/** Why a channel, or the unit, is not done with; null where it is. */
function missingAt(
  claim: Claim, place: string | null, counted: readonly Judged[],
  answered: readonly Pick<Judged, 'figure' | 'answer'>[],
): string | null {
  const isHere = ({ figure: { channel } }: { figure: Figure }): boolean => channel === place
  const of = place === null ? '' : ` on channel ${place}`
  const here = counted.filter(isHere)
  if (here.length > 0) {
    const gap = gapIn(claim.conditions, here.map(({ figure }) => figure))
    return gap === null ? null : `${gap}${of}`
  }
  const others = answered.filter(isHere)
  if (others.length === 0) return `no ${claim.quantity} was measured${of}`
  const { fit, why } = (others.find(({ answer }) => answer.fit === 'harder') ?? others[0]!).answer
  return fit === 'harder' ? `${why}${of}: harder than claimed, which can only show that it is met`
    : `no figure answers${of}: ${why}`
}

function reasonOf(
  claim: Claim, end: ClaimEnd, counted: readonly Judged[], missing: readonly string[],
): string {
  const claimed = `${boundWords(claim.quantity, claim)} is claimed`
  const [worst] = counted
  if (end === 'cannot be told' && (missing.length > 0 || !worst)) return `${missing.join('; ')}.`
  const { figure, p } = worst!
  const bound = figure.bound === undefined ? '' : `${figure.bound} `
  const place = figure.channel === null ? '' : ` on channel ${figure.channel}`
  const ofSeveral = counted.length > 1 ? `, the worst of ${counted.length} figures` : ''
  const measured = `${bound}${shownFigure(figure)}${place}${ofSeveral}; ${claimed}`
  switch (end) {
    case 'met': return `${measured}.`
    case 'not met': return `${measured}, and it fails that.`
    case 'cannot be told': return Number.isNaN(p) ? `${measured}, and a bound does not tell.`
      : `${measured}, and it lies too near: ${formatProbability(p)} that this figure is within.`
  }
}

/** Value with its expanded uncertainty (k = 2), shares in per cent. */
export function shownFigure({ quantity, value, u, unit }: Figure): string {
  const isShare = unit === '1' && quantity !== 'damping factor'
  return isShare ? formatWithU(100 * value, 200 * u, '%') : formatWithU(value, 2 * u, unit)
}
