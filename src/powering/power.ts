/** All that a run of a whole unit has in hand: plain data and narrow ports. The verbs are beside it. */
import type { Clock } from '../base/clock.ts'
import type { Guard } from '../engine/night.ts'
import type { Recorder } from '../engine/recorder.ts'
import type { Waiters } from '../engine/waiters.ts'
import type { Supervisor } from '../safety/supervisor.ts'
import type { Interlock, Beacon, Scanner, Thermometer, Voltmeter } from '../schema/roles.ts'
import type { Counted } from '../schema/powering.ts'
import type { StandSpec, UnitOnStand } from '../schema/stand.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import type {
  AcMeter, Digitizer, Generator, Load, MainsSwitch, MainsWay, PowerMeter,
} from '../schema/unit-roles.ts'
import type { Measured } from '../schema/reading.ts'
import type { Places } from './places.ts'
import type { RailTrace } from './rails-dead.ts'

/** Roles of a run on mains. The meter reads probes through the scanner. */
export interface PowerRoles {
  readonly mainsSwitch: MainsSwitch
  readonly powerMeter: PowerMeter
  readonly meter: Voltmeter
  readonly scanner: Scanner
  readonly thermometer?: Thermometer | undefined
  readonly interlock?: Interlock | undefined
  readonly beacon?: Beacon | undefined
  readonly generator?: Generator | undefined
  readonly load?: Load | undefined
  readonly digitizer?: Digitizer | undefined
  readonly acMeter?: AcMeter | undefined
}

/** A step that waits for a person. */
export interface HoldPoint {
  readonly id: string
  /** What to do, and what is on meanwhile. */
  readonly text: string
  readonly mainsOn: boolean
  /** It may be answered with the cover open: no mains follows. */
  readonly coverOpen?: true
}

export interface Power {
  readonly runId: string
  readonly clock: Clock
  readonly request: UnitOnStand
  readonly profile: UnitProfile
  readonly stand: StandSpec
  readonly touchSafeV: number
  readonly roles: PowerRoles
  readonly places: Places
  readonly supervisor: Supervisor
  readonly recorder: Recorder
  readonly waiters: Waiters
  readonly guard: Guard
  /** Aborts when the run must end: trip, stop, host fault. */
  readonly signal: AbortSignal
  /** Aborts when reading ends too: rails are followed down after a trip. */
  readonly reading: AbortSignal
  readonly state: PowerState
  checkIdentities(): Promise<void>
  /** A fault that no reading shows: latches and stops. */
  fault(id: string, text: string): void
  /** Resolves when a person at the bench has said to go on. Rejects when the run ends. */
  hold(point: HoldPoint): Promise<{ readonly person: string }>
}

export interface PowerState {
  stage: string
  /** Mains may be on. Set before the contactor is told to close, cleared once it is seen open. */
  live: boolean
  /** The way that was asked for; null while it is to be open. */
  way: MainsWay | null
  /** When that was asked, monotonic ms. */
  switchedAtMs: number
  /** Rails have had the time that they need to stand; bias and offset the time to come to rest. */
  isSettled: boolean
  isWarm: boolean
  /** Channels of the unit whose generator output is on. */
  readonly driven: Set<string>
  /** When what is let out last changed, or may have, monotonic ms. */
  drivenAtMs: number
  /** Loads that this run switched, by channel of the unit: ohms, null where one was opened on purpose. */
  readonly loads: Map<string, number | null>
  /** The newest of each channel by name. */
  readonly last: Map<string, Measured>
  /** What the probe of each rail has shown since mains came after none. */
  readonly rails: Map<string, RailTrace>
  /** The mains was closed in this run. */
  wasOn: boolean
  /** The contactor was read open, and nothing closed it since. */
  openSeen: boolean
  /** What the unit took when its mains was last told to open, A; 0 where that was not read. */
  onA: number
  /** What was found live before this run gave any mains; null where nothing was. */
  foundLive: string | null
  /** Every rail was measured below touch-safe, and no mains came since. */
  isDead: boolean
  /** When a person began to be waited for, monotonic ms; null while nobody is. */
  waitsSinceMs: number | null
  /** Rails that must stand on full mains, by what is fitted so far. */
  standing: ReadonlySet<string>
  endsAtMs: number
  /** Of a burn-in: time that counts. */
  counted?: Counted
  ending?: { as: 'tripped' | 'stopped' | 'done' | 'refused'; why: string; atMs: number }
  offRead?: boolean
  /** Ends when the trip of this run, if any, is on record. Never rejects. */
  told: Promise<unknown>
}
