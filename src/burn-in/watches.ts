/** What is watched of a unit under drive for hours, beside its limits: signs of what goes wrong slowly. */
import { leakShare } from '../powering/arm.ts'
import { inrushMachine } from '../safety/inrush.ts'
import { runawayMachine, usualRunaway } from '../safety/runaway.ts'
import { followsMachine, type FollowsInput } from '../safety/sensor-follows.ts'
import { watchBy, type Watch } from '../safety/watch.ts'
import type { Reading } from '../schema/reading.ts'
import type { BurnIn } from './burn-in.ts'

/** Idle current: noise of a reading as a share of the most that it may be (our choice). */
const idleNoise = 0.01

export function burnInWatches(b: BurnIn): Watch[] {
  const { places } = b.power
  return [
    ...places.temperatures.flatMap(({ spec, channel }) => [
      runaway(b, channel.name, spec.maxC),
      ...places.air === null ? [] : [follows(b, channel.name, spec.maxC)],
    ]),
    ...places.idle.map(({ spec, channel }) => idleRunaway(b, channel.name, idleNoise * spec.maxA)),
    inrush(b),
  ]
}

/** Random part of a reading and its last digit, K. A digit that noise hides adds to the noise. */
function thermometerOf({ power: { roles } }: BurnIn): { noiseK: number; stepK: number } {
  const { noiseK = 0, stepK = 0 } = roles.thermometer ?? {}
  return { noiseK: noiseK < stepK / 2 ? noiseK : Math.hypot(noiseK, stepK / Math.sqrt(12)), stepK }
}

const isGood = ({ quality, value }: Reading): boolean => quality === 'good' && Number.isFinite(value)

/**
 * The air as a heat sink feels it, from its reading by its reading; null before the first. A window that is
 * opened reaches a heat sink later than the thermometer in the room, and the noise of that is not the sink's.
 */
function airFor({ power: { places, state } }: BurnIn): (atMs: number) => number | null {
  if (places.air === null) return () => null
  const { name } = places.air.channel
  let [lastMs, slowC] = [0, NaN]
  return atMs => {
    const air = state.last.get(name)
    if (air?.quality !== 'good') return Number.isNaN(slowC) ? null : slowC
    slowC = Number.isNaN(slowC) ? air.value
      : slowC + (air.value - slowC) * -Math.expm1(-Math.max(0, atMs - lastMs) / airLagMs)
    lastMs = atMs
    return slowC
  }
}
/** Our choice. */
const airLagMs = 1_200_000

function runaway(b: BurnIn, channel: string, maxC: number): Watch {
  const machine = runawayMachine({ ...usualRunaway, ...thermometerOf(b), maxC, noiseA: null, envelopes: {} })
  const airAt = airFor(b)
  return watchBy({ id: `${channel}.runaway`, channels: [channel], reaction: 'stop' }, machine, reading => {
    if (!isGood(reading)) return null
    const airC = airAt(reading.atMs)
    return {
      atMs: reading.atMs, celsius: reading.value, drive: b.drive, ...airC === null ? {} : { airC },
    }
  })
}

function idleRunaway(b: BurnIn, channel: string, noiseA: number): Watch {
  const machine = runawayMachine({
    ...usualRunaway, noiseK: 0, stepK: 0, maxC: Infinity, noiseA, envelopes: {},
  })
  return watchBy({ id: `${channel}.runaway`, channels: [channel], reaction: 'stop' }, machine,
    reading => isGood(reading) ? { atMs: reading.atMs, idleA: reading.value, drive: b.drive } : null)
}

/**
 * A place that is worth a sensor gets at least a third of its way from a room to its limit at the most power
 * that the unit takes, and at most twenty times that way at its idle power; slow iron takes an hour (our
 * choice: wide, so that what trips is a sensor that feels nothing of its place).
 */
function follows(b: BurnIn, channel: string, maxC: number): Watch {
  const { supply } = b.power.profile
  const [idleW, mostW] = supply.kind === 'mains' ? [supply.powerIdleMaxW, supply.powerMaxW]
    : [supply.voltageV * supply.currentIdleMaxA, supply.voltageV * supply.currentMaxA]
  const { noiseK, stepK } = thermometerOf(b)
  const wayK = maxC - roomC
  const machine = followsMachine({
    leastKPerW: wayK / (3 * mostW), mostKPerW: 20 * wayK / idleW, fastestMs: 5000, slowestMs: 3_600_000,
    mustShowK: 2 + 3 * noiseK + stepK, samples: 5,
  })
  const power = b.power.places.mains.power.name
  const airAt = airFor(b)
  return watchBy({ id: `${channel}.follows`, channels: [channel, power], reaction: 'stop' }, machine,
    (reading): FollowsInput | null => {
      if (!isGood(reading)) return null
      const { atMs, value } = reading
      if (reading.channel.name === power) return { atMs, watts: Math.max(0, value - b.outputW) }
      const airC = airAt(atMs)
      return airC === null ? null : { atMs, celsius: value, airC }
    })
}
const roomC = 25

/** More than this many times its most current is no inrush, as a power meter sees one (our choice). */
const inrushTimes = 20
/** From opening until the meter must have seen it, ms, beside the time of the contactor. */
const seenAfterMs = 2000

function inrush(b: BurnIn): Watch {
  const { profile: { supply }, places: { mains }, roles: { mainsSwitch }, state } = b.power
  const inrushMs = (supply.kind === 'mains' ? supply.inrushMs : 0) + mainsSwitch.settleMs + seenAfterMs / 4
  const machine = inrushMachine({
    mostA: supply.currentMaxA, inrushMs, inrushMostA: inrushTimes * supply.currentMaxA,
    openMostA: leakShare * supply.currentMaxA, openAfterMs: mainsSwitch.settleMs + seenAfterMs,
    samples: 2,
  })
  let now = machine.fresh
  return {
    id: 'mains.inrush', channels: [mains.current.name], reaction: 'stop',
    see: ({ atMs, value, quality }) => {
      const isClosed = state.way !== null
      if (isClosed !== now.isClosed) now = machine.step(now, { atMs: state.switchedAtMs, isClosed })
      now = machine.step(now, { atMs, amps: quality === 'good' ? value : NaN })
      if (isClosed && quality === 'good' && atMs - state.switchedAtMs < inrushMs) seeInrush(b, value)
      return machine.says(now)
    },
  }
}

function seeInrush({ inrush: seen }: BurnIn, amps: number): void {
  seen.lastA = Math.max(seen.lastA, amps)
  seen.mostA = Math.max(seen.mostA, amps)
}
