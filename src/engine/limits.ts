/**
 * What the supervisor watches in one run: limits, watches and freshness, from the bench,
 * the plan and the parts.
 */
import { chargeBudgetC, chargeMachine } from '../safety/charge.ts'
import { flashMachine } from '../safety/flash.ts'
import type { Limit } from '../safety/limit.ts'
import { freshLimit, stepLimit } from '../safety/limit.ts'
import { readBackMachine } from '../safety/read-back.ts'
import { riseMachine } from '../safety/rise.ts'
import { busStaleMs } from '../safety/silence.ts'
import { followMachine, senseMachine } from '../safety/stuck.ts'
import type { SenseInput } from '../safety/stuck.ts'
import type { Freshness } from '../safety/supervisor.ts'
import { condemned, unfinished, untold } from '../safety/verdict.ts'
import type { Watch } from '../safety/watch.ts'
import { watchBy } from '../safety/watch.ts'
import type { Cadence } from '../schema/bench.ts'
import { shortOf } from '../schema/fixture.ts'
import type { Reading } from '../schema/reading.ts'
import { busTolerance, chargingMs, notWatched } from './bus.ts'
import type { Night } from './night.ts'
import { beyondRange, followPeak, warmedOtherwise } from './explain.ts'
import { emptyHolder, partVolts, seriesOhm } from './position.ts'
import type { PositionState } from './position.ts'
import { caseMoves, supplyMoves } from './still.ts'
import { straysOf } from './stray.ts'

/** Headroom of the bus over the target: diode, lead drop and the supply's error, common practice. */
const overVoltageShare = 1.05
/**
 * Longer than it takes to drop a part that pulls the bus down: two sweeps, its relay,
 * and the bus rising again.
 */
export const supplyStuckMs = (night: Pick<Night, 'bench'>): number => 2 * night.bench.cadence.sweepMs + 5000
/** A rise of the bus that nothing asked for is found at this share of what it may stand off its set-point. */
const busRiseShare = 0.5
const busRiseMs = 10_000
/**
 * As long as the bus may take to get where it was asked to go; and twice as long as a
 * sag at the current limit may last.
 */
const readBackMsMin = 20_000
/** No can within its rating warms by its whole allowance in a minute; a venting one or a bad sensor does. */
const caseRiseMs = 60_000
/** The lowest there is: nothing asks a can to be warm. */
const absoluteZeroC = -273.15

export function limitsOf(night: Night): Limit[] {
  const { plan, channels } = night
  const limits: Limit[] = [
    { id: 'bus.over', channel: channels.busVoltage.name, side: 'above', bound: busTolerance(night),
      samples: 2,
      reaction: 'stop', says: 'the bus is above what was asked for' },
    { id: 'bus.under', channel: channels.busVoltage.name, side: 'below', bound: notWatched, samples: 3,
      forMs: supplyStuckMs(night),
      reaction: 'stop', says: 'the bus fell away: cutoff open, supply gone, or a lead off' },
    { id: 'bus.most', channel: channels.busVoltage.name, side: 'above',
      bound: plan.targetV * overVoltageShare + 2,
      samples: 1, reaction: 'stop', says: 'the bus is above the envelope' },
    { id: 'supply.current', channel: channels.supplyCurrent.name, side: 'above',
      bound: plan.supplyLimitA * 0.98,
      samples: 3, forMs: supplyStuckMs(night), reaction: 'stop',
      says: 'the supply stays at its current limit' },
  ]
  for (const position of night.positions) {
    const { name } = position.spec
    const shared = { reaction: 'drop' as const, position: name, samples: 2, verdict: condemned }
    limits.push({ ...shared, id: `${name}.current`, channel: `${name}.current`, side: 'above',
      bound: night.plan.partCurrentMaxA?.[name] ?? shortBoundA(night),
      says: 'more than a sound part ever takes',
      explained: reading => beyondRange(night, position, reading) })
    const caseChannel = channels.caseTemperature[position.index]
    if (caseChannel) {
      limits.push({ ...shared, id: `${name}.case`, channel: caseChannel.name, side: 'above',
        bound: position.profile.caseMaxC, overRangeIsBlind: true,
        says: 'the can is too hot', explained: () => warmedOtherwise(night, position) })
    }
  }
  return limits
}

/**
 * Half of what a dead short at target takes: forming stays below it, a part that fails
 * above half way is past it.
 */
const shortBoundA = (night: Night): number => 0.5 * shortOf(night.bench.fixture, night.plan.targetV)

/** Readings of the current of a position that are older stop the bench. `sweepS`: what one sweep takes. */
export const positionStaleMs = ({ sweepQuietMs }: Cadence, sweepS: number): number =>
  2 * sweepQuietMs + 2 * 1000 * sweepS + 1000

export function freshnessOf(night: Night): Freshness[] {
  const { cadence } = night.bench
  const busMs = busStaleMs(cadence)
  const sweepMs = positionStaleMs(cadence, night.plan.sweepS)
  return [
    { channel: night.channels.busVoltage.name, maxAgeMs: busMs },
    { channel: night.channels.supplyCurrent.name, maxAgeMs: busMs },
    ...night.positions.map(({ index }) =>
      ({ channel: night.channels.current[index]!.name, maxAgeMs: sweepMs })),
  ]
}

/** Positions whose can nobody feels: there the power of the part is watched. */
export const withoutCaseSensor = (night: Night): PositionState[] =>
  night.positions.filter(({ index, profile }) =>
    profile !== emptyHolder
      && (!night.roles.thermometer || night.channels.caseTemperature[index] === undefined))

export function watchesOf(night: Night): Watch[] {
  const unfelt = new Set(withoutCaseSensor(night))
  const parts = night.positions.filter(({ profile }) => profile !== emptyHolder)
  return [
    busRise(night), busFollows(night), senseMoves(night), supplyReadBack(night), supplyMoves(night),
    ...straysOf(night),
    ...parts.flatMap(position => [followPeak(night, position), charge(night, position)]),
    ...parts.map(position => flash(night, position)),
    ...parts.flatMap(position => unfelt.has(position) ? [power(night, position)]
      : [caseRise(night, position), caseMoves(night, position)]),
  ]
}

// ---- the bench as a whole ----

/** What the bus may be asked for at this moment: `moveBus` raises the bound before it raises the supply. */
const askedV = (night: Night): number =>
  (night.supervisor.bound('bus.over') ?? 0) - night.bench.fixture.diodeV - busTolerance(night)

/**
 * Below the first set-point parts that come to the bus may lift it a little; `bus.over` alone holds there.
 */
function busRise(night: Night): Watch {
  const { name } = night.channels.busVoltage
  const machine = riseMachine({
    windowMs: Math.max(busRiseMs, 3 * night.bench.cadence.busQuietMs),
    margin: busRiseShare * busTolerance(night),
    samples: 2, unit: 'V',
  })
  return watchBy({ id: 'bus.rise', channels: [name], reaction: 'stop' }, machine, reading => {
    const asked = askedV(night)
    return good(reading) && asked > 0 ? { atMs: reading.atMs, value: reading.value, asked } : null
  })
}

function busFollows(night: Night): Watch {
  return watchBy({ id: 'bus.still', channels: [night.channels.busVoltage.name], reaction: 'stop' },
    followMachine, reading =>
    good(reading) && night.state.live
      ? { atMs: reading.atMs, volts: reading.value, askedV: night.state.setV }
      : null)
}

/** Stops: one meter reads every position, so what it says of the others is no better. */
function senseMoves(night: Night): Watch {
  const { busVoltage, current } = night.channels
  const byChannel = new Map(night.positions.map(position => [current[position.index]!.index, position]))
  const channels = [busVoltage.name, ...night.positions.map(({ index }) => current[index]!.name)]
  const see = (reading: Reading): SenseInput | null => {
    if (!good(reading)) return null
    if (reading.channel.index === busVoltage.index) return { atMs: reading.atMs, busV: reading.value }
    const position = byChannel.get(reading.channel.index)
    if (position?.wiring !== 'bus') return null
    const { capacitanceF, toleranceMinus } = position.profile
    return {
      atMs: reading.atMs, position: position.index, amps: reading.value, uA: reading.u,
      farad: capacitanceF * (1 - toleranceMinus),
      ohm: seriesOhm(night.bench.fixture, position, false),
    }
  }
  return watchBy({ id: 'sense.still', channels, reaction: 'stop' }, senseMachine, see)
}

/** Whether the supply's own volts are where it was asked to be. */
export const supplyAsAsked = (night: Night, volts: number): boolean =>
  Math.abs(volts - night.state.setV - night.bench.fixture.diodeV) < busTolerance(night)

/** A supply that gives no number for so long is no better than one that gives a wrong one. */
function supplyReadBack(night: Night): Watch {
  const { supplyVoltage } = night.channels
  const { diodeV } = night.bench.fixture
  const offMs = Math.max(readBackMsMin, 2 * supplyStuckMs(night))
  return watchBy({ id: 'supply.read-back', channels: [supplyVoltage.name], reaction: 'stop' },
    readBackMachine({ toleranceV: busTolerance(night), offMs }), reading => {
      const { live, setV } = night.state
      const volts = good(reading) ? reading.value : Number.NaN
      return live && setV > 0 ? { atMs: reading.atMs, volts, askedV: setV + diodeV } : null
    })
}

// ---- one position ----

/**
 * Past it the part rests: the budget bounds the gas of one night. It condemns nothing, because parts that
 * are far gone but mend take more in one night than it allows (seen in simulated nights; the budget is
 * derived, from no standard).
 */
function charge(night: Night, { spec, profile, index }: PositionState): Watch {
  const machine = chargeMachine(chargeBudgetC(profile.capacitanceF, night.plan.targetV))
  const { name } = night.channels.current[index]!
  return watchBy({
    id: `${spec.name}.charge`, channels: [name], reaction: 'drop', position: spec.name, verdict: unfinished,
  },
    machine, reading => good(reading) ? { atMs: reading.atMs, amps: reading.value } : null)
}

/**
 * Part or contact: which of them flashed over is not known. A reading through the low
 * resistor is another matter.
 */
function flash(night: Night, position: PositionState): Watch {
  const { spec, index } = position
  const channel = night.channels.current[index]!
  return watchBy({
    id: `${spec.name}.flash`, channels: [channel.name], reaction: 'drop', position: spec.name,
    verdict: untold,
  },
    flashMachine, reading => {
      if (!good(reading) || position.wiring !== 'bus') return null
      const partV = partVolts(night.bench.fixture, position, false)
      // Another set-point than any: what was before and after the low resistor is not compared.
      const askedV = position.formal ? -1 : night.state.setV
      return partV === null ? null : { busV: position.currentAtBusV, askedV, partV }
    })
}

/** Too fast for a can: the can gave way or the sensor did, and which of them is not known. */
function caseRise(night: Night, { spec, profile, index }: PositionState): Watch {
  const windowMs = Math.max(caseRiseMs, 2.5 * night.bench.cadence.temperatureMs)
  const machine = riseMachine({
    windowMs, margin: profile.caseRiseMaxK * windowMs / caseRiseMs, samples: 2, unit: 'K',
  })
  const { name } = night.channels.caseTemperature[index]!
  return watchBy({
    id: `${spec.name}.case-rise`, channels: [name], reaction: 'drop', position: spec.name, verdict: untold,
  },
    machine,
    reading => good(reading) ? { atMs: reading.atMs, value: reading.value, asked: absoluteZeroC } : null)
}

/**
 * Where nobody feels the can, what it turns to heat may not reach what it can shed. That it charges is
 * no heat: the limit waits for as long as charging through the low resistor can explain. A part within
 * its leakage limit may be past it on a small can, so the drop condemns nothing: with a sensor on it the
 * part can be tried again.
 */
function power(night: Night, position: PositionState): Watch {
  const { spec, profile, index } = position
  const { name } = night.channels.current[index]!
  const limit: Limit = {
    id: `${spec.name}.power`, channel: name, side: 'above', bound: profile.shedW, samples: 3,
    forMs: chargingMs(night, position, night.plan.targetV), reaction: 'drop', position: spec.name, says: '',
  }
  let lastW = 0
  const machine = {
    fresh: freshLimit, step: (state: typeof freshLimit, reading: Reading) => stepLimit(limit, state, reading),
    says: ({ latched }: typeof freshLimit) => latched
      ? `with ${lastW.toPrecision(3)} W in the part, ${profile.shedW} W at most where no case sensor is`
      : null,
  }
  return watchBy({ id: limit.id, channels: [name], reaction: 'drop', position: spec.name, verdict: untold },
    machine, reading => {
    if (!good(reading)) return null
    const volts = position.wiring === 'bus' ? partVolts(night.bench.fixture, position, false) ?? 0 : 0
    lastW = volts * reading.value
    return { ...reading, value: lastW }
  })
}

const good = ({ quality, value }: Reading): boolean => quality === 'good' && !Number.isNaN(value)
