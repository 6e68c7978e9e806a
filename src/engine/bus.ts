/**
 * The conductor's verbs: everything that puts energy on the bus or takes a part to it,
 * through the supervisor.
 */
import { sleep } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import { connected, left } from '../safety/held.ts'
import type { Reading } from '../schema/reading.ts'
import { relayOf } from '../schema/fixture.ts'
import type { RelayBoard, Supply } from '../schema/roles.ts'
import type { Night } from './night.ts'
import { onBus } from './night.ts'
import type { PositionState } from './position.ts'
import { seriesOhm } from './position.ts'

/** How far the bus may be from its set-point: part of target, and volts. */
const busToleranceShare = 0.02
const busToleranceV = 1.5
const rampStepMs = 1000
/** A bound that no bus reaches: while the bus moves, its fall is no fault. */
export const notWatched = -1e9

export const busTolerance = (night: Night): number => busToleranceV + busToleranceShare * night.plan.targetV

/** From here on its fall is somebody's doing. */
export function busMayFall({ supervisor, state }: Night): void {
  state.stands = false
  if (supervisor.bound('bus.under') !== null) supervisor.setBound('bus.under', notWatched)
}

/**
 * Sets the bus to `toV`, a small step each second at most `slewVPerS`, and waits until the bus meter agrees.
 */
export async function moveBus(night: Night, toV: number, slewVPerS: number): Promise<void> {
  if (toV === 0 && !night.state.live) return
  const supply = night.roles.supply as Supply
  night.supervisor.permit(toV, night.plan.supplyLimitA)
  await night.recorder.event({ kind: 'set-point', text: `bus to ${toV.toFixed(1)} V`, data: { toV } })
  busMayFall(night)
  night.sampler.attend(2 * rampStepMs + (1000 * Math.abs(toV - night.state.setV)) / slewVPerS)
  while (night.state.setV !== toV) {
    const left = toV - night.state.setV
    const stepV = Math.sign(left) * Math.min(Math.abs(left), (slewVPerS * rampStepMs) / 1000)
    const nextV = Math.abs(left - stepV) < 1e-9 ? toV : night.state.setV + stepV
    night.supervisor.permit(nextV, night.plan.supplyLimitA)
    night.supervisor.setBound('bus.over',
      Math.max(nextV, night.state.setV) + night.bench.fixture.diodeV + busTolerance(night))
    night.state.mostSetV = Math.max(night.state.mostSetV, nextV)
    await supply.setVoltage(nextV + (nextV > 0 ? night.bench.fixture.diodeV : 0))
    night.state.setV = nextV
    await sleep(night.clock, rampStepMs, night.signal)
  }
  await busAgrees(night, toV)
  night.state.stands = toV > 3 * busTolerance(night)
  if (night.plan.targetV >= night.bench.limits.touchSafeV && night.state.stands) {
    night.supervisor.setBound('bus.under', toV - 2 * busTolerance(night))
  }
}

/** Waits until the bus meter agrees with `toV`; a bus that does not get there is a fault. */
export async function busAgrees(night: Night, toV: number): Promise<void> {
  const limitMs = 20_000
  const startedMs = night.clock.monotonicMs()
  for (;;) {
    const reading = await next(night, night.channels.busVoltage.name, night.clock.monotonicMs())
    if (Math.abs(reading.value - toV) <= busTolerance(night) || reading.value < toV && toV < 3) return
    if (night.clock.monotonicMs() - startedMs > limitMs) {
      night.fault('bus.read-back',
        `bus was set to ${toV.toFixed(1)} V and reads ${reading.value.toFixed(1)} V`)
      throw night.signal.reason as Error
    }
  }
}

/**
 * The next good reading of a channel by name. Rejects when the run ends, and with NO_READING when none comes
 * in the time that two sweeps and their settling take.
 */
export async function next(night: Night, channelName: string, afterMs: number): Promise<Reading> {
  const channel = night.channels.all.find(({ name }) => name === channelName)
  if (!channel) throw new BenchError('NOT_FOUND', `no channel ${channelName}`)
  const withinMs = silenceMs(night)
  const reading = await night.waiters.next(channel, { afterMs, withinMs, signal: night.signal })
  if (reading) return reading
  throw new BenchError('NO_READING', `${channelName} gave no good reading`, {
    expected: `one in ${Math.round(withinMs)} ms`, got: 'none',
  })
}

/**
 * The next good current of one position, or null when none comes: then the part, not the
 * bench, cannot be judged.
 */
export const nextOf = (night: Night, { index }: PositionState, afterMs: number): Promise<Reading | null> =>
  night.waiters.next(night.channels.current[index]!, {
    afterMs, withinMs: silenceMs(night), signal: night.signal,
  })

/**
 * A channel that has given no good reading for this long is silent: two sweeps at the
 * quiet cadence, and room.
 */
export const silenceMs = (night: Night): number =>
  2 * night.bench.cadence.sweepQuietMs + 2000 * night.plan.sweepS + 5000

/** Waits, unless the run ends first. */
export const rest = (night: Night, ms: number): Promise<void> => sleep(night.clock, ms, night.signal)

/** Puts positions on the bus. The event is durable before a relay moves. */
export async function connect(night: Night, positions: readonly PositionState[]): Promise<void> {
  const faulty = positions.find(({ fault }) => fault !== null)
  if (faulty) throw new BenchError('REFUSED', `${faulty.spec.name} stays off the bus: ${faulty.fault}`)
  for (const { spec } of positions) night.supervisor.permitConnect(spec.name)
  const names = positions.map(({ spec }) => spec.name).join(' ')
  await night.recorder.event({ kind: 'connect', text: `${names} on the bus`, data: { positions: names } })
  // While the event was written a part may have been dropped: it must not come back.
  const standing = positions.filter(({ stage }) => stage !== 'dropped')
  for (const { spec } of standing) night.supervisor.permitConnect(spec.name)
  for (const position of standing) {
    position.held = connected(position.held)
    position.ordered = 'bus'
  }
  const board = night.roles.positions
  await board?.hold(standing.map(({ spec }) => relayOf(spec)))
  for (const position of standing) position.wiring = 'bus'
  const late = standing.filter(({ stage }) => stage === 'dropped')
  if (late.length > 0) await release(night, late)
  await rest(night, board?.settleMs ?? 0)
  night.sampler.attend(5000)
}

/**
 * Switches the low resistor of one position in or out. Switched in, the part takes at once what the limiting
 * resistor kept from it: for as long as that charge can explain, a large current is not held against it.
 */
export async function formalResistor(night: Night, position: PositionState, on: boolean): Promise<void> {
  const relay = position.spec.formalRelay
  if (relay === undefined) throw new BenchError('REFUSED', `${position.spec.name} has no formal relay`)
  if (on) night.supervisor.permitConnect(position.spec.name)
  const board = night.roles.positions as RelayBoard
  const chargeMs = on ? chargingMs(night, position, missingV(night, position)) : 0
  const untilMs = night.clock.monotonicMs() + board.settleMs + chargeMs + switchMsMost
  const end = on ? night.supervisor.allow(`${position.spec.name}.current`, untilMs) : () => {}
  try {
    if (on) await board.hold([relay])
    else await board.release([relay])
    position.formal = on
    await rest(night, board.settleMs + chargeMs)
  } finally {
    end()
  }
}

/** An order to a relay board ends within this time, whatever its link does. */
const switchMsMost = 20_000

/**
 * After a part pulled the bus down the others take back what they lost, through their limiting resistors:
 * until that can be over, a large current is not held against them.
 */
export function allowRecharge(night: Night): void {
  const busV = night.sampler.busV?.value ?? night.state.setV
  if (busV >= night.state.setV - 2 * busTolerance(night)) return
  const standing = onBus(night)
  const tausMs = standing.map(({ profile }) =>
    1000 * profile.capacitanceF * (1 + profile.tolerancePlus) * night.bench.fixture.limitOhm)
  const forMs = 5 * Math.max(0, ...tausMs) + 2 * night.bench.cadence.sweepMs
  const untilMs = night.clock.monotonicMs() + forMs
  for (const { spec } of standing) night.supervisor.allow(`${spec.name}.current`, untilMs)
}

/** Volts that the resistors keep from a part now. */
const missingV = (night: Night, position: PositionState): number =>
  Math.max(0, position.current?.value ?? 0) * seriesOhm(night.bench.fixture, position, false)

/**
 * Time for the largest part of the type to rise by `volts` through the low resistor, ms: at half the supply's
 * limit, then five time constants.
 */
export function chargingMs(night: Night, { profile }: PositionState, volts: number): number {
  const farad = profile.capacitanceF * (1 + profile.tolerancePlus)
  const tauS = farad * seriesOhm(night.bench.fixture, { wiring: 'bus', formal: true }, false)
  return 1000 * (farad * volts / (0.5 * night.plan.supplyLimitA) + 5 * tauS)
}

/** Takes positions off the bus onto their bleeders; allowed at any time, waits for nothing else. */
export async function release(night: Night, positions: readonly PositionState[]): Promise<void> {
  for (const position of positions) { position.ordered = 'released'; position.held = left(position.held) }
  if (night.roles.positions) await night.roles.positions.release(positions.flatMap(relaysOf))
  else if (positions.length > 0) await takeBusDown(night)
  for (const position of positions) { position.wiring = 'released'; position.formal = false }
}

const relaysOf = ({ spec, formal }: PositionState): number[] =>
  formal && spec.formalRelay !== undefined ? [relayOf(spec), spec.formalRelay] : [relayOf(spec)]

/**
 * A part that is wired to the bus for good leaves it when the bus loses its source; it
 * then bleeds back over the bus.
 */
async function takeBusDown(night: Night): Promise<void> {
  const { cutoff, supply } = night.roles
  busMayFall(night)
  await cutoff?.open()
  await supply!.setOutput(false)
  if (night.supervisor.latched === null) await supply!.setVoltage(0)
  night.state.setV = 0
  night.state.live = false
}
