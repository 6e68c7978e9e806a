/** The limits of a unit on mains, and how they move with the way that is closed and with drive. Pure. */
import type { Limit } from '../safety/limit.ts'
import { railsMachine } from '../safety/pair.ts'
import { heatingMachine } from '../safety/rise.ts'
import type { Freshness } from '../safety/supervisor.ts'
import { watchBy, type Watch } from '../safety/watch.ts'
import type { StandSpec } from '../schema/stand.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import type { MainsWay } from '../schema/unit-roles.ts'
import type { Places } from './places.ts'

/** A bound that nothing reaches. */
export const notWatched = 1e9

/** What is on: bounds follow from it. */
export interface Standing {
  /** Null while the mains is open. */
  readonly way: MainsWay | null
  readonly isDriven: boolean
  /** Rails have had the time that they need to stand. */
  readonly isSettled: boolean
  /** Bias and offset have had the time to come to rest. */
  readonly isWarm: boolean
  /** Rails that must stand on full mains, by what is fitted so far. */
  readonly standing: ReadonlySet<string>
}

/** Soft limits of a unit count after so many readings (2 of 2; hard ones at once; common practice). */
const softSamples = 2
const mainsFaultMs = 1000
/**
 * Of the current that a series resistance lets through into a short: from here the unit is one (modelling
 * choice; an amplifier at rest behind it draws a few per cent).
 */
const shortShare = 0.7

export function limitsOf(stand: StandSpec, places: Places): Limit[] {
  const stop = 'stop' as const
  const limit = (id: string, channel: string, side: Limit['side'], says: string, forMs = 0): Limit =>
    ({ id, channel, side, bound: side === 'above' ? notWatched : -notWatched, samples: softSamples, forMs,
      reaction: stop, says })
  const { voltage, current, power } = places.mains
  return [
    { ...limit('mains.over', voltage.name, 'above', 'more than this unit may have'),
      bound: stand.mainsV * (1 + stand.mainsTolerance) },
    limit('mains.under', voltage.name, 'below', 'the mains went away or sagged', mainsFaultMs),
    limit('mains.current', current.name, 'above', 'more than this unit takes'),
    limit('mains.power', power.name, 'above', 'more than this unit takes'),
    ...places.rails.flatMap(({ spec, channel: { name } }) => [
      limit(`${name}.high`, name, 'above', `outside what ${spec.name} may be (${spec.source})`),
      limit(`${name}.low`, name, 'below', `outside what ${spec.name} may be (${spec.source})`),
    ]),
    ...places.idle.flatMap(({ spec, channel }) => [
      { ...limit(`${channel.name}.high`, channel.name, 'above', `more than it idles at (${spec.source})`),
        bound: spec.maxA },
      limit(`${channel.name}.low`, channel.name, 'below', `less than it idles at (${spec.source})`),
    ]),
    ...places.dc.flatMap(({ spec: { output }, channel }) => [
      limit(`${channel.name}.high`, channel.name, 'above', `DC at the output (${output.dcSource})`),
      limit(`${channel.name}.low`, channel.name, 'below', `DC at the output (${output.dcSource})`),
    ]),
    ...places.temperatures.map(({ spec, channel }) => ({
      ...limit(`${channel.name}.hot`, channel.name, 'above', `too warm (${spec.source})`), bound: spec.maxC,
      overRangeIsBlind: true,
    })),
  ]
}

/** Every bound that moves, by the id of its limit. */
export function boundsFor(
  profile: UnitProfile, stand: StandSpec, places: Places,
  { way, isDriven, isSettled, isWarm, standing }: Standing,
): ReadonlyMap<string, number> {
  const bounds = new Map<string, number>()
  const on = way !== null
  // The meter may sit at the unit: behind a tap or a resistance it reads what those leave.
  bounds.set('mains.under', isFull(way) ? stand.mainsV * (1 - stand.mainsTolerance) : -notWatched)
  bounds.set('mains.current', on ? currentMostA(profile, stand, way) : notWatched)
  bounds.set('mains.power', on ? powerMostW(profile, isDriven) : notWatched)
  for (const { spec, channel } of places.rails) {
    const mustStand = isSettled && isFull(way) && standing.has(spec.name)
    const { low, high } = railBounds(spec, mustStand, isDriven)
    bounds.set(`${channel.name}.high`, high)
    bounds.set(`${channel.name}.low`, low)
  }
  for (const { spec, channel } of places.idle) {
    bounds.set(`${channel.name}.high`, isDriven ? notWatched : spec.maxA)
    bounds.set(`${channel.name}.low`, isFull(way) && isWarm && !isDriven ? spec.minA : -notWatched)
  }
  for (const { spec: { output }, channel } of places.dc) {
    bounds.set(`${channel.name}.high`, on ? output.dcMaxV : notWatched)
    bounds.set(`${channel.name}.low`, on ? -output.dcMaxV : -notWatched)
  }
  return bounds
}

export const isFull = (way: MainsWay | null): boolean =>
  way !== null && way.share === 1 && way.seriesOhm === 0

/** A series resistance lets little through: near that, what stands behind it is a short. */
export function currentMostA({ supply }: UnitProfile, { mainsV }: StandSpec, way: MainsWay): number {
  const most = supply.currentMaxA
  return way.seriesOhm === 0 ? most : Math.min(most, shortShare * way.share * mainsV / way.seriesOhm)
}

function powerMostW({ supply }: UnitProfile, isDriven: boolean): number {
  if (supply.kind === 'dc') return supply.voltageV * (isDriven ? supply.currentMaxA : supply.currentIdleMaxA)
  return isDriven ? supply.powerMaxW : supply.powerIdleMaxW
}

/** Sag under drive is no fault of a rail, so the lower edge is then twice as far away (common practice). */
function railBounds(
  { nominalV, tolerance }: UnitProfile['rails'][number], mustStand: boolean, isDriven: boolean,
): { low: number; high: number } {
  const most = Math.abs(nominalV) * (1 + tolerance)
  const least = Math.abs(nominalV) * (1 - (isDriven ? 2 : 1) * tolerance)
  // Before it stands, and behind a resistance, it may be anything up to its most; never of the other sign.
  const from = mustStand ? least : -0.1 * Math.abs(nominalV)
  return nominalV > 0 ? { low: from, high: most } : { low: -most, high: -from }
}

/**
 * A rail that lost its mirror puts DC on the output: held against each other whenever both stand. `sinceMs`:
 * when the drive last changed. Rails sag under drive, and take a moment to follow it.
 */
export function watchesOf(
  { cadence: { probesMs } }: StandSpec, places: Places, stands: (rail: string) => boolean,
  sinceMs: () => number = () => -Infinity,
): Watch[] {
  return places.rails.flatMap(({ spec, channel }) => {
    const mirror = places.rails.find(other => other.spec.name === spec.pairedWith)
    if (mirror === undefined || mirror.channel.index < channel.index) return []
    const both = (): boolean => stands(spec.name) && stands(mirror.spec.name)
    return [mirrorWatch([channel.name, mirror.channel.name], spec, { stands: both, sinceMs }, probesMs)]
  })
}

/** No sound place warms faster than its profile says. `noiseK`: random part of a reading, its digit in it. */
export function heatingWatches({ cadence }: StandSpec, { temperatures }: Places, noiseK: number): Watch[] {
  return temperatures.map(({ spec: { riseMaxKPerMin }, channel: { name } }) => {
    const machine = heatingMachine({ riseMaxKPerMin, noiseK, everyMs: cadence.temperatureMs })
    return watchBy({ id: `${name}.rise`, channels: [name], reaction: 'stop' }, machine,
      ({ quality, atMs, value }) => quality === 'good' ? { atMs, celsius: value } : null)
  })
}

/** Reservoirs have followed a change of the drive by then (common practice). */
const followMs = 500

/** Rails are read one after the other: further apart than two sweeps they are not held against each other. */
const sweepsApart = 2

function mirrorWatch(
  names: readonly [string, string], { asymmetryMax, nominalV }: UnitProfile['rails'][number],
  { stands, sinceMs }: { stands(): boolean; sinceMs(): number }, probesMs: number,
): Watch {
  const machine = railsMachine({
    names, asymmetryMax, floorV: 0.5 * Math.abs(nominalV), apartMostMs: sweepsApart * probesMs,
  })
  return watchBy({ id: `${names[0]}.mirror`, channels: names, reaction: 'stop' }, machine,
    ({ channel: { name }, quality, atMs, value }) => {
      const fromMs = sinceMs() + followMs
      if (!stands() || quality !== 'good' || atMs < fromMs) return null
      return { of: name === names[0] ? 'first' as const : 'second' as const, atMs, value, sinceMs: fromMs }
    })
}

/** So many missed readings are one too many. */
const missed = 4

export function freshnessOf({ cadence }: StandSpec, places: Places, probeSweepMs: number): Freshness[] {
  const probes = [...places.rails, ...places.idle, ...places.dc]
  return [
    { channel: places.mains.current.name, maxAgeMs: missed * cadence.mainsMs + 1000 },
    ...probes.map(({ channel }) => (
      { channel: channel.name, maxAgeMs: missed * Math.max(cadence.probesMs, probeSweepMs) })),
    ...places.temperatures.map(({ channel }) => (
      { channel: channel.name, maxAgeMs: missed * cadence.temperatureMs })),
  ]
}
