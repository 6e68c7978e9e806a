/** Under which conditions the time of a burn-in counts. Pure; °C, V, ms. */
import type { Measured } from '../schema/reading.ts'

export interface BurnInConditions {
  readonly airMinC: number
  readonly airMaxC: number
  /** Share of the nominal mains, and of the level that is due at an output, by which they may be off. */
  readonly mainsTolerance: number
  readonly driveTolerance: number
  /** Readings older than this are none. */
  readonly ageMostMs: number
}
/** What stands now, beside what is due. Absent readings are none. */
export interface BurnInSight {
  readonly nowMs: number
  /** Null where nothing reads the air: then nothing is asked of it. */
  readonly airC: Measured | undefined | null
  readonly temperatures: readonly { readonly place: string; readonly celsius: Measured | undefined }[]
  /** Null where the unit has no mains of its own; `nominalV` 0 where it is due to be off. */
  readonly mains: { readonly nominalV: number; readonly volts: Measured | undefined } | null
  readonly outputs: readonly {
    readonly channel: string; readonly dueV: number; readonly volts: Measured | undefined
  }[]
}

/**
 * Room of a burn-in; 25 °C is where touch temperatures are judged, second hand, the rest our choice. The
 * mains is held closer than by the limit that trips: a sag that is no fault stops the clock alone.
 */
export const usualConditions: BurnInConditions = {
  airMinC: 15, airMaxC: 35, mainsTolerance: 0.06, driveTolerance: 0.1, ageMostMs: 15_000,
}
/** A silent output: below this, V, whatever the share. */
const silentMostV = 0.1
/** Mains that are off read less than this, V. */
const mainsOffMostV = 25

/** What does not hold, in words that stay the same while it does not; empty where time counts. */
export function failingConditions(rules: BurnInConditions, sight: BurnInSight): string[] {
  const read = (reading: Measured | undefined): number | null =>
    reading && reading.quality === 'good' && Number.isFinite(reading.value)
      && sight.nowMs - reading.atMs <= rules.ageMostMs ? reading.value : null
  return [
    ...sight.airC === null ? [] : airFails(rules, read(sight.airC)),
    ...sight.temperatures.filter(({ celsius }) => read(celsius) === null)
      .map(({ place }) => `${place} cannot be read`),
    ...sight.mains === null ? [] : mainsFails(rules, sight.mains.nominalV, read(sight.mains.volts)),
    ...sight.outputs.flatMap(({ channel, dueV, volts }) => {
      const seen = read(volts)
      if (seen === null) return [`the output of ${channel} cannot be read`]
      const isAt = dueV === 0 ? seen < silentMostV : Math.abs(seen - dueV) <= rules.driveTolerance * dueV
      return isAt ? [] : [`${channel} is not at its level`]
    }),
  ]
}

function airFails({ airMinC, airMaxC }: BurnInConditions, seen: number | null): string[] {
  if (seen === null) return ['the air cannot be read']
  return seen < airMinC ? [`the air is colder than ${airMinC} °C`]
    : seen > airMaxC ? [`the air is warmer than ${airMaxC} °C`] : []
}

function mainsFails({ mainsTolerance }: BurnInConditions, nominalV: number, seen: number | null): string[] {
  if (seen === null) return ['the mains cannot be read']
  if (nominalV === 0) return seen < mainsOffMostV ? [] : ['the mains are on and should be off']
  return Math.abs(seen - nominalV) <= mainsTolerance * nominalV ? []
    : [`the mains are more than ${(100 * mainsTolerance).toFixed(0)} % off ${nominalV} V`]
}
