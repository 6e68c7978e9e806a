/**
 * The test record of one unit: what it is, what it was claimed to do, what was measured, under what, and
 * what was not. From its runs, their events, readings and results; pure.
 */
import type { Channel } from '../schema/reading.ts'
import type { Grade, PartResult, RunHead, RunRecord } from '../schema/run.ts'
import type { Bucket, StoredEvent } from '../schema/store.ts'
import type { UnitPage } from './unit-page.ts'
import type { UnitRecord } from './unit-record-schema.ts'

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
   * The newest run of each kind; where that one came to no result, also the newest that did. In any order,
   * none twice.
   */
  readonly runs: readonly UnitRun[]
  /** All other runs of this unit on record: they are named, so that a reader knows of them. */
  readonly others: readonly (Pick<RunHead, 'id' | 'sequence' | 'state' | 'startedWallMs'>
    & { readonly grade: Grade | null })[]
  /** Null where no parts list was given. */
  readonly parts: UnitPage | null
}

export type { UnitRecord }
