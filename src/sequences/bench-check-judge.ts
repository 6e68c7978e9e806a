/** What bench-check makes of its readings: criteria with uncertainty, and words for what is wrong. */
import { combineGrades, judgeConformance } from '../analysis/conformance.ts'
import type { PositionState } from '../engine/position.ts'
import type { Criterion, PartResult } from '../schema/run.ts'

/** A mean of some readings, SI, with its standard uncertainty. */
export interface Seen { value: number; u: number; atMs: number }

export interface Check {
  /** Null for what concerns the whole bench. */
  position: PositionState | null
  what: string
  criterion: Criterion
  /** False where nothing could be read: it did not pass, and shows nothing of the position. */
  isMade?: boolean
  /** At what voltage, where one passes only for as much. */
  volts?: number
}

/** Something that this fixture cannot show in this state, in one sentence. */
export type Unshown = string

/** Currents count as shown from this many standard uncertainties on (modelling choice). */
export const shownU = 5
/** A released position takes less than this share of what it took on the bus (modelling choice). */
const releasedShare = 0.1

export function judge(
  name: Criterion['name'], { value, u }: { value: number; u: number }, unit: string,
  { low, high }: { low?: number; high?: number }, source: string,
): Criterion {
  const limits = {
    ...(low === undefined ? {} : { lower: low }), ...(high === undefined ? {} : { upper: high }),
  }
  const { grade, expandedU, guardBand, pConform } = judgeConformance({ y: value, u }, limits)
  return {
    name, value, unit, expandedU, guardBand, pConform, grade, source,
    ...(low === undefined ? {} : { limitLow: low }), ...(high === undefined ? {} : { limitHigh: high }),
  }
}

/** A check that is seen or not seen. */
export const yesNo = (seen: boolean, source: string): Criterion =>
  judge('bench', { value: seen ? 1 : 0, u: 0 }, '1', { low: 1 }, source)

export const less = (now: Seen, zero: Seen): Seen =>
  ({ value: now.value - zero.value, u: Math.hypot(now.u, zero.u), atMs: now.atMs })

/** Insulation of an empty position, as current: against the bench file, or what the meter can show. */
export function leakageCheck(
  position: PositionState, seen: Seen, busV: number, leakageOhmMin: number, what: string,
): { check: Check; shownOhm: number } {
  const limitA = Math.max(busV / leakageOhmMin, shownU * seen.u)
  const shownOhm = busV / limitA
  const source = shownOhm < leakageOhmMin * 0.999
    ? `${shown(shownOhm)} is what the meter can show at ${busV.toFixed(1)} V`
    : 'leakageOhmMin of the bench file'
  const criterion = judge('leakage', seen, 'A', { high: limitA }, source)
  return { check: { position, what, criterion }, shownOhm }
}

/** The known resistance, from bus volts and current through everything in its path. */
export function dummyCheck(
  position: PositionState, seen: Seen, busV: Seen, ohm: number, share: number,
): Check {
  const expectedA = busV.value / ohm
  const u = Math.hypot(seen.u, expectedA * busV.u / busV.value)
  return {
    position, what: 'known resistance',
    criterion: judge('bench', { value: seen.value, u }, 'A',
      { low: expectedA * (1 - share), high: expectedA * (1 + share) },
      `${shown(ohm)} with its series resistors, ± ${100 * share} %`),
  }
}

export const releasedCheck = (position: PositionState, seen: Seen, heldA: number): Check => ({
  position, what: 'relay opens',
  criterion: judge('contact', seen, 'A',
    { high: Math.max(releasedShare * heldA, shownU * seen.u) }, 'no current once released'),
})

/** Failed where conformity is not shown. */
export const failed = ({ criterion }: Check): boolean => criterion.grade !== 'accept'

/** One result a position. What fails for the whole bench fails each position. */
export function resultOf(
  position: PositionState, checks: readonly Check[], faults: ReadonlyMap<PositionState, string>,
): PartResult {
  const own = checks.filter(check => check.position === position || check.position === null)
  const criteria = own.map(({ criterion }) => criterion)
  const { grade, pConform } = combineGrades(criteria)
  const first = own.find(({ criterion }) => criterion.grade === grade)!
  const reason = grade === 'accept' ? `${own.length} checks passed`
    : faults.get(position) ?? `${first.what}: ${first.criterion.source}`
  return {
    of: 'position', position: position.spec.name, part: position.part.part, profile: position.profile.name,
    grade, provisional: false, disposition: grade === 'accept' ? 'use' : 'retest', pConform, reason, criteria,
    figures: {},
  }
}

export function shown(ohm: number): string {
  const [scale, unit] = ohm >= 1e9 ? [1e9, 'GΩ']
    : ohm >= 1e6 ? [1e6, 'MΩ'] : ohm >= 1e3 ? [1e3, 'kΩ'] : [1, 'Ω']
  return `${(ohm / scale).toPrecision(3)} ${unit}`
}
