/** The verbs of a unit on mains: everything that puts energy into it goes through here and the supervisor. */
import { sleep } from '../base/clock.ts'
import { refuseUnlessCovered } from '../engine/at-bench.ts'
import { BenchError } from '../base/errors.ts'
import type { UnitChannel } from '../schema/unit-profile.ts'
import type { DriveTone, MainsWay } from '../schema/unit-roles.ts'
import { boundsFor, isFull } from './limits.ts'
import { isLoad } from './loads.ts'
import type { Led } from './places.ts'
import type { Power } from './power.ts'

/** A thump at switch-on passes an output (common practice); longer is DC. */
const thumpMs = 2000

/** Sets every bound for what is on now. */
export function bound({ profile, stand, places, state, supervisor }: Power): void {
  const now = { ...state, isDriven: state.driven.size > 0 }
  for (const [id, value] of boundsFor(profile, stand, places, now)) supervisor.setBound(id, value)
}

/** What is on now has had its time: rails stand, or bias too has come to rest. */
export function settled(power: Power, isWarm: boolean): void {
  power.state.isSettled = true
  power.state.isWarm = isWarm
  bound(power)
}

/**
 * Closes the mains by `way`, with inrush and thump allowed for as long as the profile says. Rejects TRIPPED
 * after a latch, REFUSED for a way that this unit may not be run on, and what the contactor says.
 */
export async function closeMains(power: Power, way: MainsWay): Promise<void> {
  const { profile: { supply }, roles, supervisor, recorder, state, clock } = power
  const { mainsSwitch, beacon } = roles
  if (supply.kind === 'mains' && !supply.mayRunLow && !isFull(way)) {
    throw new BenchError('REFUSED', `this unit may not be run by way of ${way.name}`, {
      expected: 'full mains, as its profile says', got: `${100 * way.share} % behind ${way.seriesOhm} Ω`,
    })
  }
  supervisor.permit(0, 0)
  // Whoever worked in it while it waited may have left it open.
  if (state.way === null) await refuseUnlessCovered(roles.interlock)
  await recorder.event(
    { kind: 'energise', text: `mains closes by way of ${way.name}`, data: { way: way.name } })
  await beacon?.show('live')
  // A trip while that was written withholds the mains.
  supervisor.permit(0, 0)
  allowStart(power)
  // A probe proves itself anew each time that mains comes after none.
  if (state.way === null) state.rails.clear()
  state.live = true
  state.wasOn = true
  state.isDead = false
  state.openSeen = false
  state.way = way
  state.switchedAtMs = clock.monotonicMs()
  state.isSettled = false
  state.isWarm = false
  bound(power)
  await mainsSwitch.close(way.name)
  await sleep(clock, mainsSwitch.settleMs, power.signal)
  const closed = await mainsSwitch.closedWay()
  if (closed === way.name) return
  power.fault('mains.contact', `the mains contactor reads ${closed ?? 'open'}, not ${way.name}`)
  throw power.signal.reason as Error
}

function allowStart({ profile: { supply }, places, supervisor, clock }: Power): void {
  const nowMs = clock.monotonicMs()
  const inrushMs = supply.kind === 'mains' ? supply.inrushMs : 0
  supervisor.allow('mains.current', nowMs + inrushMs)
  supervisor.allow('mains.power', nowMs + inrushMs)
  for (const { channel } of places.dc) {
    supervisor.allow(`${channel.name}.high`, nowMs + thumpMs)
    supervisor.allow(`${channel.name}.low`, nowMs + thumpMs)
  }
}

/** Against which a contactor that was told to open is held; once only, while mains is meant to be on. */
export function keepCurrent({ state, places }: Pick<Power, 'state' | 'places'>): void {
  if (state.way === null) return
  const last = state.last.get(places.mains.current.name)
  state.onA = last?.quality === 'good' ? Math.max(0, Math.abs(last.value) - 2 * last.u) : 0
}

/** Drive mutes before the mains opens. Rejects READ_BACK as a fault where a pole stays closed. */
export async function openMains(power: Power): Promise<void> {
  const { roles: { mainsSwitch }, recorder, state, clock } = power
  keepCurrent(power)
  await muteAll(power)
  // Before it is told: whoever looks meanwhile finds what was asked for.
  state.way = null
  state.switchedAtMs = clock.monotonicMs()
  await mainsSwitch.open()
  state.isSettled = false
  state.isWarm = false
  bound(power)
  await sleep(clock, mainsSwitch.settleMs, power.signal)
  const closed = await mainsSwitch.closedWay()
  if (closed !== null) {
    power.fault('mains.welded', `the mains contactor reads ${closed} after it was told to open`)
    throw power.signal.reason as Error
  }
  state.live = false
  state.openSeen = true
  await recorder.event({ kind: 'off', text: 'mains open, read back' })
}

/**
 * Drives one channel. Rejects REFUSED without mains, for more than its input takes, and where its load is not
 * connected as it should be.
 */
export async function drive(power: Power, channelName: string, tones: readonly DriveTone[]): Promise<void> {
  const { roles: { load }, state } = power
  const { spec, output: at } = drivable(power, channelName, tones)
  if (state.way === null) throw new BenchError('REFUSED', 'the mains is open: nothing is driven')
  const wantedOhm = loadWanted(power, spec)
  const connectedOhm = await load!.connected(at.load)
  const isRight = wantedOhm === null ? connectedOhm === null : isLoad(connectedOhm, wantedOhm)
  if (!isRight) throw wrongLoad(spec.name, wantedOhm, connectedOhm)
  await letOut(power, channelName, at.generator, tones)
}

/**
 * Drives a channel of the generator that a person has led away from the unit. Rejects REFUSED where mains is,
 * or may be, on: what is driven then is the unit.
 */
export async function driveApart(
  power: Power, channelName: string, tones: readonly DriveTone[],
): Promise<void> {
  const { output: at } = drivable(power, channelName, tones)
  const { live, way } = power.state
  if (live || way !== null) {
    throw new BenchError('REFUSED', 'the generator is led past the unit while the mains is open alone')
  }
  await letOut(power, channelName, at.generator, tones)
}

function drivable(
  { places, roles: { generator, load } }: Power, channelName: string, tones: readonly DriveTone[],
): Led {
  const place = places.outputs.find(({ spec }) => spec.name === channelName)
  if (!place || !generator || !load) {
    throw new BenchError('REFUSED', `${channelName} cannot be driven`, {
      expected: 'generator, load and an output of the stand', got: 'one is missing',
    })
  }
  // Sines that peak together.
  const sumV = tones.reduce((sum, { levelV }) => sum + levelV, 0)
  const { levelMaxV } = place.spec.input
  if (sumV <= levelMaxV) return place
  throw new BenchError('REFUSED', `more than the input of ${channelName} takes`,
    { expected: `at most ${levelMaxV} V`, got: `${sumV} V` })
}

/** A trip while anything was sent withholds the rest. */
async function letOut(
  power: Power, channelName: string, channel: number, tones: readonly DriveTone[],
): Promise<void> {
  const { supervisor, state, roles: { generator } } = power
  supervisor.permit(0, 0)
  state.drivenAtMs = power.clock.monotonicMs()
  await generator!.setTones(channel, tones)
  supervisor.permit(0, 0)
  state.driven.add(channelName)
  bound(power)
  await generator!.setOutput(channel, true)
  state.drivenAtMs = power.clock.monotonicMs()
}

const loadWanted = ({ state }: Power, { name, output }: UnitChannel): number | null => {
  const switched = state.loads.get(name)
  return switched === undefined ? output.loadOhm : switched
}

const wrongLoad = (name: string, wantedOhm: number | null, gotOhm: number | null): BenchError =>
  new BenchError('REFUSED', `the load of ${name} is not the one it is driven into`, {
    expected: wantedOhm === null ? 'open' : `${wantedOhm} Ω`, got: gotOhm === null ? 'open' : `${gotOhm} Ω`,
  })

/**
 * Switches the load of a channel, muted. Null opens it. Rejects REFUSED under a valve stage that has, or may
 * have, mains: between two steps, too, it would stand open.
 */
export async function switchLoad(power: Power, channelName: string, ohm: number | null): Promise<void> {
  const { places, roles: { load }, state, clock, supervisor } = power
  const place = places.outputs.find(({ spec }) => spec.name === channelName)
  if (!place || !load) throw new BenchError('REFUSED', `${channelName} has no load that can be switched`)
  if (place.spec.output.isValve && (state.live || ohm === null)) {
    throw new BenchError('REFUSED', `the load of ${channelName} stays: a valve stage never runs without one`)
  }
  await muteAll(power)
  supervisor.permit(0, 0)
  state.loads.set(channelName, ohm)
  await load.connect(place.output.load, ohm)
  await sleep(clock, load.settleMs, power.signal)
  const gotOhm = await load.connected(place.output.load)
  const isRight = ohm === null ? gotOhm === null : isLoad(gotOhm, ohm)
  if (!isRight) throw wrongLoad(channelName, ohm, gotOhm)
}

export async function muteAll({ roles: { generator }, state, clock }: Power): Promise<void> {
  if (state.driven.size > 0) state.drivenAtMs = clock.monotonicMs()
  await generator?.muteAll()
  if (state.driven.size > 0) state.drivenAtMs = clock.monotonicMs()
  state.driven.clear()
}

/** What a unit took under drive may stand in readings for so long after it (common practice). */
const afterDriveMs = 5000

/** Mutes all and goes on at rest, with the limits of rest once what the drive left is over. */
export async function quiet(power: Power): Promise<void> {
  const { places, supervisor, clock } = power
  await muteAll(power)
  const untilMs = clock.monotonicMs() + afterDriveMs
  for (const { channel } of places.idle) supervisor.allow(`${channel.name}.high`, untilMs)
  supervisor.allow('mains.power', untilMs)
  bound(power)
}
