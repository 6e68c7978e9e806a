/** Makes the Night of one run: positions, supervisor, recorder, sampler and guard wired together. */
import { setMaxListeners } from 'node:events'
import type { Clock } from '../base/clock.ts'
import { asBenchError, BenchError } from '../base/errors.ts'
import type { Keeper } from '../keeper/client.ts'
import type { FeedItem, Plan, UnsafePart } from '../schema/application.ts'
import type { LoadedPart } from '../schema/run.ts'
import type { PartProfile } from '../schema/part-profile.ts'
import type { Store } from '../schema/store.ts'
import { Supervisor } from '../safety/supervisor.ts'
import type { ChannelTable } from '../engine/channels.ts'
import type { Guard, Night, NightState } from '../engine/night.ts'
import { emptyHolder, freshPosition } from '../engine/position.ts'
import { supplyAsAsked } from '../engine/limits.ts'
import { busAgreesNow, standingVolts } from '../engine/standing.ts'
import { Recorder } from '../engine/recorder.ts'
import { demandHandler } from '../engine/runner.ts'
import type { RunHandles } from '../engine/runner.ts'
import { Sampler } from '../engine/sampler.ts'
import { Waiters } from '../engine/waiters.ts'
import type { ComposedBench } from './compose.ts'
import type { LoadedBench } from './files.ts'

/** The keeper cuts energy when no fresh heartbeat came for this long. */
export const beatLimitMs = 1000

export interface NightInput {
  runId: string; clock: Clock; livenessClock: Clock; bench: LoadedBench; composed: ComposedBench
  keeper: Keeper; store: Store; plan: Plan; channels: ChannelTable
  /** Parts whose charge of an earlier run no run has seen to leave since. */
  unseen?: readonly UnsafePart[]
  /** `fault`: why it stays off bridge and bus. */
  parts: readonly { loaded: LoadedPart; profile: PartProfile; fault?: string }[]
  publish: (item: FeedItem) => void
  checkIdentities: () => Promise<void>
}

/**
 * The parts of a request, and an empty holder on every other position of the fixture, in the fixture's order.
 */
export function everyPosition({ file }: LoadedBench, parts: NightInput['parts']): NightInput['parts'] {
  const byName = new Map(parts.map(part => [part.loaded.position, part]))
  const none = { part: 'none', profile: emptyHolder.name, note: '', condition: 'sound' as const }
  const known = new Set(file.fixture.positions.map(({ name }) => name))
  return [
    ...file.fixture.positions.map(({ name }) =>
      byName.get(name) ?? { loaded: { position: name, ...none }, profile: emptyHolder }),
    ...parts.filter(({ loaded }) => !known.has(loaded.position)),
  ]
}

export function makeNight(input: NightInput): RunHandles {
  const { clock, bench, composed, keeper, store, runId } = input
  const ending = new AbortController()
  const reading = new AbortController()
  // Every wait of every position listens to these two; a warning at eleven would be noise.
  setMaxListeners(0, ending.signal, reading.signal)
  const supervisor = new Supervisor(input.channels.all)
  const waiters = new Waiters(clock)
  const state: NightState = {
    setV: 0, mostSetV: 0, live: false, stands: false, watching: false, stage: 'proving', stoodAtV: null,
    busTrusted: true,
    endsAtMs: clock.monotonicMs() + 1000 * input.plan.expectedS, told: Promise.resolve(),
  }
  const byName = new Map(bench.file.fixture.positions.map((spec, index) => [spec.name, { spec, index }]))
  const positions = input.parts.map(({ loaded, profile, fault }) => {
    const { spec, index } = byName.get(loaded.position)!
    const position = freshPosition(index, spec, loaded, profile, fault)
    const { run } = input.unseen?.find(one => one.part === loaded.part) ?? {}
    if (run !== undefined) position.unsettled = `what it held in run ${run} was never seen to leave`
    return position
  })
  const onDemand = demandHandler(() => handles)
  const fault = (id: string, text: string): void => {
    // What is found out on the way down changes nothing, and is told all the same.
    if (ending.signal.aborted) {
      void recorder.event({ kind: 'fault', severity: 'warning', text, data: { id } }).catch(() => {})
    }
    onDemand(supervisor.fault(id, text, clock.monotonicMs()))
  }
  const recorder = new Recorder({
    runId, clock, livenessClock: input.livenessClock, store, publish: input.publish,
    onFailure: error => fault('store', `the store cannot write: ${(error as Error).message}`),
  })
  const sampler = new Sampler({
    clock, bench: bench.file, roles: composed.roles, channels: input.channels, supervisor, recorder, waiters,
    positions, onDemand, watching: () => state.watching, live: () => state.live,
    busStands: () => state.live && state.stands && keeper.mode() === 'armed',
    asAsked: volts => supplyAsAsked(night, volts),
  }, reading.signal)
  const night: Night = {
    runId, clock, bench: bench.file, roles: composed.roles, plan: input.plan, channels: input.channels,
    positions, supervisor, recorder, waiters, sampler,
    guard: guardOf(keeper, composed), signal: ending.signal, reading: reading.signal, state,
    drops: new Map(), checkIdentities: input.checkIdentities, fault,
  }
  // In the turn that decided the end: a later reading would be of a part that is already on its bleeder.
  ending.signal.addEventListener('abort', () => {
    const { code, message } = asBenchError(ending.signal.reason)
    state.ending = {
      as: code === 'STOPPED' ? 'stopped' : 'tripped', why: supervisor.latched?.text ?? message,
      atMs: clock.monotonicMs(),
    }
    state.stoodAtV = standingVolts(night)
    state.busTrusted = busAgreesNow(night)
    waiters.rejectUnder(ending.signal)
  }, { once: true })
  reading.signal.addEventListener('abort', () => waiters.rejectUnder(reading.signal), { once: true })
  const handles: RunHandles = {
    night, store, abort: error => ending.abort(error),
    stopReading: () => reading.abort(new BenchError('STOPPED', 'the run has ended')),
  }
  return handles
}

export function guardOf(keeper: Keeper, { table }: ComposedBench): Guard {
  return {
    arm: () => keeper.arm(table, beatLimitMs),
    disarm: () => keeper.mode() === 'safe' ? keeper.reset() : keeper.disarm(),
    safeOff: async reason => await keeper.safeOff(reason).catch(error => ({
      reason, atWallMs: 0, sentMs: NaN, verifiedMs: null,
      links: [{
        link: 'keeper', sent: false, freshLink: false, verified: null, note: (error as Error).message,
      }],
    })),
  }
}
