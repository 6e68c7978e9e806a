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
  /** So many looks in a row it gave more than the digitizer's range holds. */
  readonly loudLooks: number
}

/** What is looked at now and then: the first and the last under one drive, once warm. */
export interface Points {
  readonly of: string
  readonly unit: string
  readonly first: Point
  readonly last: Point
}
interface Point { readonly atS: number; readonly value: number; readonly u: number }

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
  readonly book: LookBook
  /** Times of the readings that were looked at last, by channel. */
  readonly seenAtMs: Map<string, number>
  /** By quantity and drive. */
  readonly points: Map<string, Points>
  nextSpotS: number
  nextRestS: number
  /** The drive is muted for a look at rest. */
  isResting: boolean
  /** Counted time from which nothing that was done to it moves it any more. */
  calmFromS: number
  readonly tooDistorted: Map<string, number>
  toldAtS: number
  /** Of the gap that is open, what a person has seen to. */
  seenToMs: number
}

/** Time that counted, earlier runs included, s. */
export const countedS = ({ clock, parameters }: BurnIn): number =>
  parameters.alreadyCountedS + clock.countedMs / 1000

/** After a pause of the drive, or once a place is called steady, a kelvin may be to come (our choice). */
const calmAfterS = 1800
export const disturbed = (b: BurnIn): void => { b.calmFromS = countedS(b) + calmAfterS }

export const hoursWords = (seconds: number): string => `${Number((seconds / 3600).toPrecision(3))} h`

/** Keeps a look at `of` under the drive of now, warm as the unit is; before that it begins no drift. */
export function keepPoint(b: BurnIn, of: string, unit: string, value: number, u: number): void {
  if (!b.isWarm) return
  const point: Point = { atS: countedS(b), value, u }
  const name = `${of} ${b.key}`
  b.points.set(name, { of, unit, first: b.points.get(name)?.first ?? point, last: point })
}

/** Of each quantity under the drive that it was looked at longest. */
export function pointDrifts({ points }: BurnIn): Drift[] {
  const found = new Map<string, Drift>()
  for (const { of, unit, first, last } of points.values()) {
    const hours = (last.atS - first.atS) / 3600
    if (hours <= (found.get(of)?.hours ?? 0)) continue
    found.set(of, {
      of, unit, start: { value: first.value, u: first.u }, end: { value: last.value, u: last.u },
      change: last.value - first.value, u: Math.hypot(first.u, last.u), hours,
    })
  }
  return [...found.values()]
}
