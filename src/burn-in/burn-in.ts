/** All that a burn-in has in hand while it runs. What is beside it reads and changes this. SI units. */
import type { Led } from '../powering/places.ts'
import type { Power } from '../powering/power.ts'
import type { Measured } from '../schema/reading.ts'
import type { Drift } from '../schema/unit-findings.ts'
import type { MainsWay } from '../schema/unit-roles.ts'
import type { BurnInClock } from './clock.ts'
import type { LookBook } from './drift.ts'
import type { GainTable } from './gains.ts'
import type { BurnInParameters } from './parameters.ts'
import type { DriveProgramme, Due } from './programme.ts'
import type { Warming, WarmthRules } from './warmth.ts'

export type Tone = NonNullable<Due['tone']>

/** An output as it was heard last, beside what was due then. */
export interface Level {
  readonly dueV: number
  readonly levelV: number
  readonly volts: Measured
  /** Since when it is off its level, monotonic ms; null while it is at it. */
  readonly offSinceMs: number | null
}

/** First and last look at the distortion of a channel under one drive. */
export interface Spot { readonly atS: number; readonly thd: number; readonly u: number }

export interface BurnIn {
  readonly power: Power
  readonly sweep: () => Promise<void>
  readonly parameters: BurnInParameters
  readonly programme: DriveProgramme
  readonly askedS: number
  readonly fullWay: MainsWay
  /** Outputs that the digitizer hears. */
  readonly heard: readonly Led[]
  readonly warmthRules: readonly (WarmthRules & { readonly channel: string })[]
  readonly startedWallMs: number
  gains: ReadonlyMap<string, GainTable>
  clock: BurnInClock
  /** The phase, and what it asks as `driveKey` names it; null before the first. */
  phase: number | null
  key: string
  /** What is asked, as the watches see it: constant while the heat of it is. */
  drive: string
  /** Watts that are to leave by the loads. */
  outputW: number
  /** What the generator gives now. */
  tone: Tone | null
  /** When the mains came on, monotonic ms; null while it is off. */
  closedAtMs: number | null
  switchings: number
  /** Largest mains current within the inrush of the newest closing, and of all; A. */
  inrush: { lastA: number; mostA: number; firstA: number | null }
  readonly levels: Map<string, Level>
  readonly dropouts: Map<string, number>
  heardAtMs: number
  readonly warming: Map<string, Warming>
  /** Counted time at which this drive began, s. */
  keySinceS: number
  isWarm: boolean
  book: LookBook
  /** Times of the readings that were looked at last, by channel. */
  readonly seenAtMs: Map<string, number>
  readonly spots: Map<string, { first: Spot; last: Spot }>
  nextSpotS: number
  readonly tooDistorted: Map<string, number>
  toldAtS: number
}

/** Time that counted, earlier runs included, s. */
export const countedS = ({ clock, parameters }: BurnIn): number =>
  parameters.alreadyCountedS + clock.countedMs / 1000

export const hoursWords = (seconds: number): string => `${Number((seconds / 3600).toPrecision(3))} h`

/** Drifts of the distortion, by channel, under the drive that was looked at longest. */
export function spotDrifts({ spots }: BurnIn): Drift[] {
  const found = new Map<string, Drift>()
  for (const [name, { first, last }] of spots) {
    const channel = name.slice(0, name.indexOf(' '))
    const hours = (last.atS - first.atS) / 3600
    if (hours <= (found.get(channel)?.hours ?? 0)) continue
    found.set(channel, {
      of: `${channel}.thd`, unit: '', start: { value: first.thd, u: first.u },
      end: { value: last.thd, u: last.u },
      change: last.thd - first.thd, u: Math.hypot(first.u, last.u), hours,
    })
  }
  return [...found.values()]
}
