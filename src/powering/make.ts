/** Makes the Power of one run: supervisor, recorder, sampler and hold points wired together. */
import { setMaxListeners } from 'node:events'
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import { Recorder } from '../engine/recorder.ts'
import { Waiters } from '../engine/waiters.ts'
import { Supervisor } from '../safety/supervisor.ts'
import type { FeedItem } from '../schema/application.ts'
import type { Store } from '../schema/store.ts'
import { HoldPoints } from './hold-points.ts'
import type { Power, PowerState } from './power.ts'
import { powerDemands, type PowerHandles } from './runner.ts'
import { PowerSampler } from './sampler.ts'

/** What `Power` takes over as it is, and what it is wired with. */
export interface PowerInput extends Pick<Power,
  'runId' | 'clock' | 'request' | 'profile' | 'stand' | 'touchSafeV' | 'roles' | 'places' | 'guard'> {
  /** Real time, also where the bench keeps its own. */
  readonly livenessClock: Clock
  readonly store: Store
  readonly expectedS: number
  publish(item: FeedItem): void
  checkIdentities(): Promise<void>
  /** The step that waits for a person changed; null where none does. */
  waits(): void
}

export function makePower(input: PowerInput): PowerHandles & { readonly holds: HoldPoints } {
  const { clock, runId, places } = input
  const ending = new AbortController()
  const reading = new AbortController()
  setMaxListeners(0, ending.signal, reading.signal)
  const supervisor = new Supervisor(places.all)
  const waiters = new Waiters(clock)
  const onDemand = powerDemands(() => handles)
  const fault = (id: string, text: string): void => {
    // What is found out on the way down changes nothing, and is told all the same.
    if (ending.signal.aborted) {
      void recorder.event({ kind: 'fault', severity: 'warning', text, data: { id } }).catch(() => {})
    }
    onDemand(supervisor.fault(id, text, clock.monotonicMs()))
  }
  const recorder = new Recorder({
    runId, clock, livenessClock: input.livenessClock, store: input.store,
    publish: item => input.publish(item),
    onFailure: error => fault('store', `the store cannot write: ${(error as Error).message}`),
  })
  const sampler = new PowerSampler({ power: () => power, onDemand })
  const holds = new HoldPoints({
    recorder, signal: ending.signal, waits: () => input.waits(),
    stage: words => { power.state.stage = words },
  })
  const { request, profile, stand, touchSafeV, roles, guard } = input
  const power: Power = {
    runId, clock, request, profile, stand, touchSafeV, roles, places, supervisor, recorder, waiters, guard,
    signal: ending.signal, reading: reading.signal, state: freshState(input),
    checkIdentities: () => input.checkIdentities(), fault,
    hold: point => waited(power, () => holds.hold(point)),
  }
  ending.signal.addEventListener('abort', () => waiters.rejectUnder(ending.signal), { once: true })
  reading.signal.addEventListener('abort', () => waiters.rejectUnder(reading.signal), { once: true })
  const handles = {
    power, store: input.store, sampler, holds, abort: (error: BenchError) => ending.abort(error),
    stopReading: () => reading.abort(new BenchError('STOPPED', 'the run has ended')),
  }
  return handles
}

/** Nothing else goes on while a person is waited for: what is to come comes later by as much. */
async function waited<T>({ state, clock }: Power, wait: () => Promise<T>): Promise<T> {
  const sinceMs = clock.monotonicMs()
  state.waitsSinceMs = sinceMs
  try {
    return await wait()
  } finally {
    state.waitsSinceMs = null
    state.endsAtMs += clock.monotonicMs() - sinceMs
  }
}

const freshState = ({ clock, expectedS, profile }: PowerInput): PowerState => ({
  stage: 'proving', live: false, way: null, switchedAtMs: clock.monotonicMs(),
  isSettled: false, isWarm: false,
  driven: new Set(), drivenAtMs: clock.monotonicMs(),
  loads: new Map(), last: new Map(), rails: new Map(), wasOn: false, isDead: true,
  openSeen: false, onA: 0, foundLive: null,
  waitsSinceMs: null,
  standing: new Set(profile.rails.map(({ name }) => name)),
  endsAtMs: clock.monotonicMs() + 1000 * expectedS, told: Promise.resolve(),
})
