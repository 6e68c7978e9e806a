/**
 * The test record of one unit: what it is, what it was claimed to do, what was measured, under what, and
 * what was not. From its runs, their events, readings and results; pure.
 */
import type { UnitSequence } from '../schema/powering.ts'
import type { Channel } from '../schema/reading.ts'
import type { Grade, PartResult, RunHead, RunRecord } from '../schema/run.ts'
import type { Bucket, StoredEvent } from '../schema/store.ts'
import type { UnitPage } from './unit-page.ts'
import { cautionsOf } from './unit-record-cautions.ts'
import { proven } from './unit-record-claims.ts'
import { unitRecordPage } from './unit-record-page.ts'
import { burnInOf, instrumentRows, leftOf, partsOf, unitOf } from './unit-record-rows.ts'
import { hasFindings, profileOf, runRow } from './unit-record-runs.ts'
import {
  coverageFactor, unitRecordFormat, unitRecordVersion, type UnitRecord,
} from './unit-record-schema.ts'
import { firstPowerOf } from './unit-record-stages.ts'
import { alarmsOf, touchOf, verdictOf, type Told } from './unit-record-verdict.ts'

export type { UnitRecord }

/** A run of the unit with all that is told of it. */
export interface UnitRun {
  readonly run: RunRecord
  readonly events: readonly StoredEvent[]
  /** Of the position `unit`; null where it came to none. */
  readonly result: PartResult | null
  readonly chainHead: string
  /** Null where the chain was not recomputed. */
  readonly chain: { readonly holds: boolean; readonly firstBreak: string } | null
  /** What is drawn of it: buckets of the store's levels, a few hundred a channel; more are drawn together. */
  readonly series: readonly { readonly channel: Channel; readonly buckets: readonly Bucket[] }[]
}

export interface UnitRecordInput {
  /** Its name on record. */
  readonly specimen: string
  readonly madeWallMs: number
  readonly software: string
  /**
   * Of each kind the newest run, the newest that was not refused, the newest that gave mains, and the newest
   * that left findings: as `readUnitRuns` reads them. In any order, none twice.
   */
  readonly runs: readonly UnitRun[]
  /** All other runs of this unit on record: they are named, so that a reader knows of them. */
  readonly others: readonly (Pick<RunHead, 'id' | 'sequence' | 'state' | 'startedWallMs'>
    & { readonly grade: Grade | null })[]
  /** Whether every run on record was looked through; they were where it is left out. */
  readonly wasAll?: boolean
  /** Null where no parts list was given. */
  readonly parts: UnitPage | null
}

/** One page that needs nothing else, for print and for a buyer. */
export const unitRecordHtml = (input: UnitRecordInput): string => unitRecordPage(unitRecordJson(input))

/** The same for machines: plain data that survives JSON, by the schema `unitRecord`. */
export function unitRecordJson(input: UnitRecordInput): UnitRecord {
  const told = toldOf(input)
  return {
    ...told, alarms: alarmsOf(told), touch: touchOf(told), verdict: verdictOf(told),
    cautions: cautionsOf(told),
  }
}

function toldOf(
  { specimen, madeWallMs, software, others, parts, wasAll = true, ...input }: UnitRecordInput,
): Told {
  const runs = [...input.runs].sort((a, b) => a.run.startedWallMs - b.run.startedWallMs)
  const verify = newestFound(runs, 'verify')
  const burnt = newestFound(runs, 'burn-in')
  const first = newestFound(runs, 'first-power')
    ?? runs.findLast(({ run }) => run.sequence === 'first-power') ?? null
  const profile = runs.map(({ run }) => profileOf(run)).findLast(one => one !== null) ?? null
  const claimant = verify ? profileOf(verify.run)?.profile ?? null : profile?.profile ?? null
  return {
    format: unitRecordFormat, version: unitRecordVersion, coverageFactor, specimen, madeWallMs, software,
    unit: profile && unitOf(profile), provenBy: verify?.run.id ?? null,
    ...proven(claimant, verify?.result?.unit ?? null),
    burnIn: burnt && burnInOf(burnt), firstPower: first && firstPowerOf(first),
    parts: parts && partsOf(parts), instruments: instrumentRows(runs), left: leftOf(runs),
    runs: runs.map(runRow),
    otherRuns: others.map(({ id, sequence, state, startedWallMs, grade }) =>
      ({ id, sequence, state, startedWallMs, grade })), wasAll,
  }
}

const newestFound = (runs: readonly UnitRun[], sequence: UnitSequence): UnitRun | null =>
  runs.findLast(({ run, result }) => run.sequence === sequence && hasFindings(sequence, result)) ?? null
