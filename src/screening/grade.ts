/**
 * What a proof comes to: criteria with guard bands, one grade, what to do with the part, and a sentence
 * for screen and voice. What is gravely wrong is marked strange: another part may lie in the jig, or the
 * clips may touch each other, and a person says which before a good part is thrown away.
 */
import { combineGrades } from '../analysis/conformance.ts'
import { formatSi } from '../base/format.ts'
import type { Criterion, Disposition, Grade } from '../schema/run.ts'
import { criterion, show } from '../sequences/criteria.ts'
import type { Fault, Finding, Proof } from './proof.ts'
import type { Limit, ToProve } from './to-prove.ts'

/** One part of the list, as the plan asks for it. */
export interface Item {
  readonly id: string
  readonly part: ToProve
}

export interface Verdict {
  readonly id: string
  readonly grade: Grade
  readonly disposition: Disposition
  readonly pConform: number
  readonly reason: string
  readonly criteria: readonly Criterion[]
  readonly figures: Readonly<Record<string, number>>
  readonly notes: readonly string[]
  readonly says: string
  readonly strange: boolean
  readonly looksLike: string | null
  /** What a person can say of it that the bench cannot find. */
  readonly asks?: string
}

/**
 * Tolerance less than this many times the expanded uncertainty: the grade means little (common practice 4
 * to 1).
 */
const ratioLeast = 4
/** A value this many times off is no tolerance fault any more. */
const strangeFactor = 1.5

/** `others`: parts that are still to come, among which a strange one may be found. */
export function judge({ id, part }: Item, proof: Proof, others: readonly Item[]): Verdict {
  const { criteria, ungraded } = gradable(proof.findings)
  const { fault, figures } = proof
  const bounds = proof.findings.filter(({ atLeast }) => atLeast).map(({ name }) => name)
  const spoken = spokenWith(bounds)
  const notes = [
    ...proof.notes,
    ...bounds.map(name => `${name} is what was read or more: the source gave no more`),
    ...ungraded.map(one => `${one.name} ${show(one)}: not graded, this bench is too coarse for that limit`),
    ...criteria.flatMap(coarse),
    ...(fault?.is === 'reversed' ? [fault.says] : []),
  ]
  const base = { id, criteria, figures, notes }
  if (fault !== null && fault.is !== 'reversed') return faulted(base, fault)
  if (criteria.length === 0) {
    return faulted(base, { is: 'cannot tell', says: 'nothing was measured' })
  }
  const { grade, pConform } = combineGrades(criteria)
  const worst = criteria.find(one => one.grade === grade)!
  // Of several windings any one may be so far off that the leads lay elsewhere.
  const value = criteria.find(one => one.name === 'turns ratio' && farOff(one))
    ?? criteria.find(({ name }) => name === 'zener voltage') ?? criteria[0]!
  const strange = farOff(value)
  const reason =
    grade === 'accept'
      ? 'within every limit with its uncertainty'
      : `${worst.name} ${show(worst)}${why(worst)}`
  return {
    ...base,
    grade,
    pConform,
    reason,
    strange,
    disposition: dispositionOf(grade, part, criteria),
    looksLike: strange ? likeliest(value, part, others) : null,
    says: `${id}: ${spoken(grade === 'accept' ? foremost(criteria, value) : worst)}, ${words[grade]}`
      + [...lowVolts(part, figures), ...fault === null ? [] : [fault.says]].map(text => `; ${text}`).join(''),
  }
}

/** Usual limits that the bench is too coarse for are told and not graded by, where something else is. */
function gradable(findings: readonly Finding[]): { criteria: Criterion[]; ungraded: Criterion[] } {
  const all = findings.map(finding =>
    ({ criterion: asCriterion(finding), isUsual: finding.limit.isUsual === true }))
  const isCoarse = ({ criterion: { grade, value }, isUsual }: typeof all[number]): boolean =>
    isUsual && grade === 'cannot tell' && Number.isFinite(value)
  const kept = all.filter(one => !isCoarse(one))
  if (kept.length === 0) return { criteria: all.map(({ criterion }) => criterion), ungraded: [] }
  return {
    criteria: kept.map(({ criterion }) => criterion),
    ungraded: all.filter(isCoarse).map(({ criterion }) => criterion),
  }
}

/** Why nothing can be told of it, where it is the measurement that is too coarse. */
function why({ grade, value, limitLow, limitHigh }: Criterion): string {
  if (grade !== 'cannot tell' || !Number.isFinite(value)) return ''
  return limitLow !== undefined && limitHigh !== undefined
    ? ': the uncertainty leaves no room between the limits'
    : ': the uncertainty is more than a third of the limit'
}

const words: Record<Grade, string> = {
  accept: 'good',
  marginal: 'too near its limit to tell',
  reject: 'bad',
  'cannot tell': 'cannot tell',
}

const asCriterion = ({ name, measured, unit, limit }: Finding): Criterion =>
  criterion(
    name,
    measured,
    unit,
    {
      ...(limit.low === undefined ? {} : { low: limit.low }),
      ...(limit.high === undefined ? {} : { high: limit.high }),
    },
    limit.source,
  )

/** What a person wants to hear of a good part of such a kind; of the others it is what was measured first. */
const told: readonly Criterion['name'][] = ['gain', 'zener voltage', 'threshold voltage', 'drain current']
const foremost = (criteria: readonly Criterion[], value: Criterion): Criterion =>
  criteria.find(({ name }) => told.includes(name)) ?? value

/** Share of its rating from which a capacitor counts as charged to it: a source is never quite there. */
const wholeShare = 0.99

/** A good word on a capacitor holds to the volts that it was charged to. */
function lowVolts(part: ToProve, { leakageV }: Readonly<Record<string, number>>): string[] {
  if (part.kind !== 'capacitor' || !part.leakage || leakageV === undefined) return []
  const { ratedV } = part.leakage
  return leakageV >= wholeShare * ratedV ? []
    : [`to ${formatSi(leakageV, 'V', 3)} of ${formatSi(ratedV, 'V', 3)}`]
}

const spokenWith = (bounds: readonly Criterion['name'][]) => ({ name, value, unit }: Criterion): string =>
  `${name} ${bounds.includes(name) ? 'at least ' : ''}${formatSi(value, unit === '1' ? '' : unit, 3)}`

function faulted(base: Pick<Verdict, 'id' | 'criteria' | 'figures' | 'notes'>, fault: Fault): Verdict {
  const untold = fault.is === 'poor contact' || fault.is === 'cannot tell'
  return {
    ...base,
    grade: untold ? 'cannot tell' : 'reject',
    disposition: untold ? 'retest' : 'replace',
    pConform: untold ? NaN : 0,
    reason: fault.says,
    says: `${base.id}: ${fault.says}`,
    strange: !untold,
    looksLike: null,
    ...(fault.is === 'cannot tell' && fault.asks !== undefined ? { asks: fault.asks } : {}),
  }
}

/** An old electrolytic that leaks but has its capacitance may come back by forming; the rest is replaced. */
function dispositionOf(grade: Grade, part: ToProve, criteria: readonly Criterion[]): Disposition {
  if (grade === 'accept') return 'use'
  if (grade !== 'reject') return 'retest'
  const forms =
    part.kind === 'capacitor' &&
    part.dielectric === 'electrolytic' &&
    criteria.every(one => one.grade !== 'reject' || one.name === 'leakage')
  return forms ? 'form' : 'replace'
}

/** Ratio of the room within the limits to what the measurement leaves open. */
function coarse({ name, expandedU, limitLow, limitHigh }: Criterion): string[] {
  if (limitLow === undefined || limitHigh === undefined || !(expandedU > 0)) return []
  const ratio = (limitHigh - limitLow) / 2 / expandedU
  return ratio >= ratioLeast
    ? []
    : [`${name}: the tolerance is only ${ratio.toFixed(1)} times the uncertainty, so the grade means little`]
}

function farOff({ value, limitLow, limitHigh }: Criterion): boolean {
  return (
    (limitHigh !== undefined && value > strangeFactor * limitHigh) ||
    (limitLow !== undefined && limitHigh !== undefined && value < limitLow / strangeFactor)
  )
}

/** The part still to come whose limits hold this value, nearest to its nominal value. */
function likeliest({ value }: Criterion, part: ToProve, others: readonly Item[]): string | null {
  let best: { id: string; far: number } | null = null
  for (const { id, part: other } of others) {
    const nominal = other.kind === part.kind ? nominalOf(other) : null
    if (
      nominal === null ||
      value < nominal.nominal * (1 - nominal.minus) ||
      value > nominal.nominal * (1 + nominal.plus)
    )
      continue
    const far = Math.abs(Math.log(value / nominal.nominal))
    if (best === null || far < best.far) best = { id, far }
  }
  return best?.id ?? null
}

function betweenLimits({ low, high }: Limit): { nominal: number; minus: number; plus: number } | null {
  if (low === undefined || high === undefined) return null
  const nominal = (low + high) / 2
  const share = (high - low) / 2 / nominal
  return { nominal, minus: share, plus: share }
}

function nominalOf(part: ToProve): { nominal: number; minus: number; plus: number } | null {
  switch (part.kind) {
    case 'resistor':
      return part.ohm
    case 'capacitor':
      return part.farad
    case 'inductor':
      return part.henry
    case 'diode':
      return part.zener && betweenLimits(part.zener.volt)
    default:
      return null
  }
}
