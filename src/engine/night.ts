/**
 * Everything one run has in hand. Plain data and narrow ports; the verbs are in the files beside this one.
 */
import type { Clock } from '../base/clock.ts'
import type { BenchFile } from '../schema/bench.ts'
import type { Plan, SafeOffReport } from '../schema/application.ts'
import type { Roles } from '../schema/roles.ts'
import type { Supervisor } from '../safety/supervisor.ts'
import type { ChannelTable } from './channels.ts'
import type { PositionState } from './position.ts'
import type { Recorder } from './recorder.ts'
import type { Sampler } from './sampler.ts'
import type { Waiters } from './waiters.ts'

/** The independent layer, as the engine sees it. */
export interface Guard {
  /** Arms the keeper with the compiled table; energy may follow only after this resolves. */
  arm(): Promise<void>
  disarm(): Promise<void>
  /** Pre-empts everything. Starts in the same turn; resolves when read back. Never rejects. */
  safeOff(reason: string): Promise<SafeOffReport>
}

export interface Night {
  readonly runId: string
  readonly clock: Clock
  readonly bench: BenchFile
  readonly roles: Roles
  readonly plan: Plan
  readonly channels: ChannelTable
  readonly positions: readonly PositionState[]
  readonly supervisor: Supervisor
  readonly recorder: Recorder
  readonly waiters: Waiters
  readonly sampler: Sampler
  readonly guard: Guard
  /** Aborts when the run must end: trip, stop, host fault. */
  readonly signal: AbortSignal
  /** Aborts when reading ends too; outlives `signal`, because bleeding is watched after a trip. */
  readonly reading: AbortSignal
  readonly state: NightState
  /**
   * Parts that left the bus, each with the end of what follows: seen to be released, and
   * followed down. Never rejects.
   */
  readonly drops: Map<PositionState, Promise<void>>
  /** Compares identities of all instruments with the bench file; rejects IDENTITY. */
  checkIdentities(): Promise<void>
  /** A fault that no reading shows: latches and stops. */
  fault(id: string, text: string): void
}

/** What changes in the course of a night. */
export interface NightState {
  setV: number
  /** The most that the bus was asked for in this run, volts. */
  mostSetV: number
  live: boolean
  /** The bus was brought to its set-point and is to stay there. */
  stands: boolean
  watching: boolean
  stage: string
  /** Whether the safe-off of its end was read back; absent before that is told. */
  offRead?: boolean
  /** When the run is expected to end, monotonic ms; moved as steps take longer or parts leave. */
  endsAtMs: number
  /** How and when the run began to end, monotonic ms; absent while it goes on. */
  ending?: { as: 'tripped' | 'stopped' | 'done' | 'refused'; why: string; atMs: number }
  /** False when the bus meter disagreed with the set-point at the end: its zero then shows nothing. */
  busTrusted: boolean
  /** Why no position's current is believed to be its own any more; absent while it is. */
  misrouted?: string
  /** Ends when the trip of this run, if any, is on record. Never rejects. */
  told: Promise<unknown>
  /** What the supply's communication watchdog was to be armed with, s; absent where it was not. */
  watchdogS?: number
  /**
   * What each part stood at when the run was told to end, volts, null where unknown; null while it goes on.
   */
  stoodAtV: ReadonlyMap<PositionState, number | null> | null
}

/** Positions that still stand on the bus. */
export const onBus = (night: Night): PositionState[] =>
  night.positions.filter(position => position.wiring === 'bus')
