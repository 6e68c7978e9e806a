/** Runs one sequence from arming to the last word. Whatever happens in between, it ends dead, measured and recorded. */
import { BenchError, hasCode } from '../base/errors.ts'
import type { Demand } from '../safety/supervisor.ts'
import type { RunState } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { arm, energise } from './arm.ts'
import { dropPosition } from './drop.ts'
import { followAll, standingVolts } from './discharge.ts'
import type { Night } from './night.ts'
import type { Sequence } from './sequence.ts'

export interface RunHandles {
  night: Night
  store: Store
  /** Aborts `night.signal`. */
  abort: (error: BenchError) => void
  /** Aborts `night.reading`. */
  stopReading: () => void
}

/** Turns demands into acts. The first stop wins; safe-off leaves in the same turn as the reading that asked for it. */
export function demandHandler(handles: () => RunHandles): (demand: Demand) => void {
  let stopping = false
  return demand => {
    const { night, abort } = handles()
    if (demand.reaction === 'stop') {
      // A bus that falls after a stop is the stop at work.
      if (stopping || night.signal.aborted) return
      stopping = true
      const report = night.guard.safeOff(demand.text)
      night.state.live = false
      abort(new BenchError('TRIPPED', demand.text))
      const done = report.then(({ sentMs, verifiedMs }) => night.recorder.event({
        kind: 'trip', severity: 'trip', text: `bench off: ${demand.text}`,
        data: { id: demand.id, offSentMs: sentMs, offVerifiedMs: verifiedMs },
      }))
      done.catch(() => {})
      return
    }
    const position = night.positions.find(({ spec }) => spec.name === demand.position)
    if (!position) return
    dropPosition(night, position, demand).catch(error => {
      if (!night.reading.aborted) night.fault(`${demand.position}.drop`, `drop failed: ${(error as Error).message}`)
    })
  }
}

/** Runs to an end state and returns it. Never rejects: the state says how it went. */
export async function runNight<P>(handles: RunHandles, sequence: Sequence<P>, parameters: P): Promise<RunState> {
  const { night } = handles
  const sampling = night.sampler.run()
  let state: RunState = 'done'
  try {
    if (sequence.energises) {
      await arm(night)
      await energise(night)
    }
    await sequence.run(night, parameters)
    if (night.signal.aborted) throw night.signal.reason as Error
  } catch (error) {
    state = await ended(handles, error)
  }
  state = await makeSafe(night, state)
  handles.stopReading()
  await sampling.catch(() => {})
  return await close(handles, state)
}

async function ended({ night }: RunHandles, error: unknown): Promise<RunState> {
  if (hasCode(error, 'STOPPED')) return 'stopped'
  if (hasCode(error, 'TRIPPED')) {
    if (error !== night.signal.reason) {
      await night.recorder.event({ kind: 'trip', severity: 'trip', text: error.message }).catch(() => {})
    }
    return 'tripped'
  }
  if (hasCode(error, 'REFUSED', 'IDENTITY') && !night.state.live) {
    await night.recorder.event({ kind: 'refused', severity: 'warning', text: (error as Error).message }).catch(() => {})
    return 'refused'
  }
  night.fault('sequence', error instanceof Error ? error.message : String(error))
  return 'tripped'
}

/** One path for every end: cutoff and sources off, positions released, read back, bled, measured, said. */
async function makeSafe(night: Night, reached: RunState): Promise<RunState> {
  let state = reached
  const stoodAtV = standingVolts(night)
  // Before the order, not after its answer: the keeper tells of every safe-off, and this one is no surprise.
  night.state.live = false
  const report = await night.guard.safeOff(state === 'done' ? 'run ended' : `run ${state}`)
  night.state.setV = 0
  night.state.stage = 'bleeding'
  for (const position of night.positions) { position.wiring = 'released'; position.formal = false }
  const unproved = night.positions.filter(({ stage }) => stage !== 'graded' && stage !== 'dropped')
  if (unproved.length > 0 && state !== 'refused') {
    await followAll(night, unproved, stoodAtV).catch(error => night.recorder.event({
      kind: 'touch', severity: 'warning', text: `NOT SAFE TO TOUCH: UNMEASURED (${(error as Error).message})`,
    }).catch(() => {}))
  }
  if (report.verifiedMs === null && state !== 'refused') {
    night.fault('off.unverified', `safe-off was not read back: ${report.links.filter(({ verified }) => verified !== true).map(({ link, note }) => `${link} ${note}`).join(', ')}`)
  }
  if (state === 'done' && (night.signal.aborted || night.supervisor.latched !== null)) {
    state = hasCode(night.signal.reason, 'STOPPED') ? 'stopped' : 'tripped'
  }
  if (state === 'done' || state === 'refused') await night.guard.disarm().catch(() => {})
  await night.roles.beacon?.show(state === 'done' ? 'dark' : 'fault').catch(() => {})
  await night.recorder.event({
    kind: 'off', severity: report.verifiedMs === null ? 'warning' : 'info',
    text: report.verifiedMs === null ? 'bench told to be off; NOT READ BACK' : 'bench off and read back', data: { sentMs: report.sentMs, verifiedMs: report.verifiedMs },
  }).catch(() => {})
  return state
}

async function close({ night, store }: RunHandles, state: RunState): Promise<RunState> {
  for (const { result } of night.positions) {
    if (result) await store.saveResult(night.runId, result).catch(() => {})
  }
  await night.recorder.event({ kind: 'ended', text: `run ${state}` }).catch(() => {})
  await night.recorder.flush().catch(() => {})
  await store.finishRun(night.runId, state, night.clock.wallMs()).catch(() => {})
  return state
}
