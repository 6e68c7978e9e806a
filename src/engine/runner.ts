/**
 * Runs one sequence from arming to the last word. Whatever happens in between, it ends
 * dead, measured and recorded.
 */
import { withDeadline } from '../base/deadline.ts'
import { BenchError, hasCode } from '../base/errors.ts'
import { left } from '../safety/held.ts'
import type { Demand } from '../safety/supervisor.ts'
import type { SafeOffReport } from '../schema/application.ts'
import type { RunState } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { arm, energise } from './arm.ts'
import { busMayFall } from './bus.ts'
import { dropPosition } from './drop.ts'
import { dropsDone, followAll } from './bleed.ts'
import { busDiesAfter } from './bus-after-off.ts'
import { takeBack } from './discharge.ts'
import { isStray, mayBeMisrouted } from './stray.ts'
import { standingVolts } from './standing.ts'
import type { Night, NightState } from './night.ts'
import { prepareInstruments } from './prepare-instruments.ts'
import type { PositionState } from './position.ts'
import type { Sequence } from './sequence.ts'
import { endWatchdog } from './supply-watchdog.ts'

/** Reads end by their own deadlines well before this (common practice). */
const samplingEndsMs = 30_000

export interface RunHandles {
  night: Night
  store: Store
  /** Aborts `night.signal`. */
  abort: (error: BenchError) => void
  /** Aborts `night.reading`. */
  stopReading: () => void
}

/**
 * Turns demands into acts. The first stop wins; safe-off leaves in the same turn as the
 * reading that asked for it.
 */
export function demandHandler(handles: () => RunHandles): (demand: Demand) => void {
  let stopping = false
  return demand => {
    const { night, abort } = handles()
    if (demand.reaction === 'stop') {
      // A bus that falls after a stop is the stop at work.
      if (stopping || night.signal.aborted) return
      stopping = true
      if (isStray(demand)) mayBeMisrouted(night, 'a part that is off the bus took current')
      const report = night.guard.safeOff(demand.text)
      night.state.live = false
      abort(new BenchError('TRIPPED', demand.text))
      const done = report.then(({ sentMs, verifiedMs }) => night.recorder.event({
        kind: 'trip', severity: 'trip', text: `bench off: ${demand.text}`,
        data: {
          id: demand.id, offSentMs: sentMs, offVerifiedMs: verifiedMs,
          faultToDisconnectedMs: verifiedMs === null ? null : night.clock.monotonicMs() - demand.atMs,
        },
      }))
      night.state.told = done.catch(() => {})
      return
    }
    const position = night.positions.find(({ spec }) => spec.name === demand.position)
    if (!position) return
    dropPosition(night, position, demand).catch(error => {
      if (!night.reading.aborted) {
        night.fault(`${demand.position}.drop`, `drop failed: ${(error as Error).message}`)
      }
    })
  }
}

/** Runs to an end state and returns it. Never rejects: the state says how it went. */
export async function runNight<P>(
  handles: RunHandles, sequence: Sequence<P>, parameters: P,
): Promise<RunState> {
  const { night } = handles
  const sampling = night.sampler.run()
  let state: RunState = 'done'
  try {
    if (sequence.energises) {
      await arm(night)
      await energise(night)
    } else await prepareInstruments(night.roles, sequence.roles)
    await sequence.run(night, parameters)
    if (night.signal.aborted) throw night.signal.reason as Error
  } catch (error) {
    state = ended(handles, error)
  }
  state = await makeSafe(night, state)
  handles.stopReading()
  // A read that never ends must not keep the run from its end.
  await withDeadline(night.clock, samplingEndsMs, 'the sampler', () => sampling).catch(() => {})
  return await close(handles, state)
}

/** Nothing here waits for the store: safe-off comes first. */
function ended({ night }: RunHandles, error: unknown): RunState {
  // Once the run was told to end, errors on the way out are of the ending and not its cause.
  if (night.signal.aborted) return hasCode(night.signal.reason, 'STOPPED') ? 'stopped' : 'tripped'
  if (hasCode(error, 'REFUSED', 'IDENTITY', 'LINK_OPEN') && !night.state.live) {
    void night.recorder.event({ kind: 'refused', severity: 'warning', text: (error as Error).message })
      .catch(() => {})
    return 'refused'
  }
  night.fault('sequence', error instanceof Error ? error.message : String(error))
  return 'tripped'
}

/** One path for every end: cutoff and sources off, positions released, read back, bled, measured, said. */
async function makeSafe(night: Night, reached: RunState): Promise<RunState> {
  const stoodAtV = night.state.stoodAtV ?? standingVolts(night)
  // Before the order, not after its answer: the keeper tells of every safe-off, and this one is no surprise.
  night.state.live = false
  // A sequence may end with the bus up: that it falls now is the safe-off at work.
  busMayFall(night)
  night.state.ending ??= endingAs(night, reached)
  const report = await night.guard.safeOff(reached === 'done' ? 'run ended' : `run ${reached}`)
  const offAtMs = night.clock.monotonicMs()
  night.state.offRead = report.verifiedMs !== null
  night.state.setV = 0
  night.state.stage = 'bleeding'
  for (const position of night.positions) {
    position.wiring = 'released'
    position.ordered = 'released'
    position.held = left(position.held)
    position.formal = false
  }
  // At once: a supply that is asked no more while parts bleed would trip, though it is off.
  const unwatched = endWatchdog(night, report)
  if (reached !== 'refused') await followDown(night, stoodAtV)
  const deadBus = await busDiesAfter(night, offAtMs)
  await unwatched
  if (report.verifiedMs === null && reached !== 'refused') {
    const silent = report.links.filter(({ verified }) => verified !== true)
    night.fault('off.unverified',
      `safe-off was not read back: ${silent.map(({ link, note }) => `${link} ${note}`).join(', ')}`)
  }
  const state = reached === 'done' && (night.signal.aborted || night.supervisor.latched !== null)
    ? hasCode(night.signal.reason, 'STOPPED') ? 'stopped' : 'tripped' : reached
  if (state === 'done' || state === 'refused') await night.guard.disarm().catch(() => {})
  await night.roles.beacon?.show(state === 'done' ? 'dark' : 'fault').catch(() => {})
  tellOff(night, report, deadBus)
  return state
}

function endingAs(
  { clock, signal, supervisor }: Night, reached: RunState,
): NonNullable<NightState['ending']> {
  const why = (signal.aborted ? supervisor.latched?.text : null) ?? `run ${reached}`
  const as = reached === 'done' || reached === 'refused' || reached === 'stopped' ? reached : 'tripped'
  return { as, why, atMs: clock.monotonicMs() }
}

/**
 * Every part down to touch-safe, those that were dropped too, and those that left the bus and were not bled.
 */
async function followDown(night: Night, stoodAtV: ReadonlyMap<PositionState, number | null>): Promise<void> {
  const unproved = night.positions.filter(({ stage, held }) =>
    stage === 'graded' ? held.state === 'leaving' : stage !== 'dropped')
  try {
    if (unproved.length > 0) await followAll(night, unproved, stoodAtV, night.supervisor.latched?.atMs)
    await dropsDone(night)
    for (const position of night.positions) await takeBack(night, position)
  } catch (error) {
    void night.recorder.event({
      kind: 'touch', severity: 'warning', text: `NOT SAFE TO TOUCH: UNMEASURED (${(error as Error).message})`,
    }).catch(() => {})
  }
}

function tellOff(night: Night, { sentMs, verifiedMs }: SafeOffReport, deadBus: boolean): void {
  const busV = night.roles['bus-meter'] ? night.sampler.busV : null
  const bus = deadBus ? 'the bus is dead'
    : busV?.quality === 'good' ? `NOT SAFE TO TOUCH: the bus read ${busV.value.toFixed(1)} V last`
    : 'NOT SAFE TO TOUCH: the bus is UNMEASURED'
  const off = verifiedMs === null ? 'bench told to be off; NOT READ BACK' : 'bench off and read back'
  void night.recorder.event({
    kind: 'off', severity: verifiedMs === null || !deadBus ? 'warning' : 'info', text: `${off}; ${bus}`,
    data: { sentMs, verifiedMs, busV: busV?.value ?? null },
  }).catch(() => {})
}

async function close({ night, store }: RunHandles, state: RunState): Promise<RunState> {
  await night.state.told
  for (const { result } of night.positions) {
    if (result) await night.recorder.result(result).catch(() => {})
  }
  await night.recorder.event({ kind: 'ended', text: `run ${state}` }).catch(() => {})
  await night.recorder.flush().catch(() => {})
  // Where this fails the run stands as running, until an acknowledgement or a start marks it interrupted.
  await night.recorder.commit(() => store.finishRun(night.runId, state, night.clock.wallMs())).catch(() => {})
  return state
}
