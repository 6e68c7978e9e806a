/** Runs a unit from arming to the last word: whatever happens, mains off, rails measured, recorded. */
import { withDeadline } from '../base/deadline.ts'
import { BenchError, hasCode } from '../base/errors.ts'
import type { Demand } from '../safety/supervisor.ts'
import type { PartResult, RunState } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { armPower, preparePower } from './arm.ts'
import { keepCurrent } from './mains.ts'
import type { Power } from './power.ts'
import { railsDown } from './rails-down.ts'
import type { PowerSampler } from './sampler.ts'

export interface PowerHandles {
  readonly power: Power
  readonly store: Store
  readonly sampler: PowerSampler
  /** Aborts `power.signal`. */
  abort(error: BenchError): void
  /** Aborts `power.reading`. */
  stopReading(): void
}

/** What a unit run does between arming and safe-off; resolves with what it found. */
export type PowerWork = (power: Power, sweep: () => Promise<void>) => Promise<PartResult | null>

/** Reads end by their own deadlines well before this (common practice). */
const samplingEndsMs = 30_000

/** The first stop wins; safe-off leaves in the same turn as the reading that asked for it. */
export function powerDemands(handles: () => PowerHandles): (demand: Demand) => void {
  let stopping = false
  return demand => {
    const { power, abort } = handles()
    if (stopping || power.signal.aborted) return
    stopping = true
    const report = power.guard.safeOff(demand.text)
    standsOff(power)
    abort(new BenchError('TRIPPED', demand.text))
    power.state.told = report.then(({ sentMs, verifiedMs }) => power.recorder.event({
      kind: 'trip', severity: 'trip', text: `unit off: ${demand.text}`,
      data: {
        id: demand.id, offSentMs: sentMs, offVerifiedMs: verifiedMs,
        faultToDisconnectedMs: verifiedMs === null ? null : power.clock.monotonicMs() - demand.atMs,
      },
    })).catch(() => {})
  }
}

function standsOff(power: Power): void {
  const { state, clock } = power
  keepCurrent(power)
  state.live = false
  state.way = null
  state.switchedAtMs = clock.monotonicMs()
  state.driven.clear()
}

/** Runs to an end state; never rejects. `isDead`: every rail was measured below touch-safe after it. */
export async function runPower(
  handles: PowerHandles, work: PowerWork,
): Promise<{ readonly state: RunState; readonly result: PartResult | null; readonly isDead: boolean }> {
  const { power, sampler } = handles
  const sweep = (): Promise<void> => sampler.sweep()
  let sampling: Promise<void> = Promise.resolve()
  let state: RunState = 'done'
  let result: PartResult | null = null
  try {
    await preparePower(power)
    sampling = sampler.run()
    await armPower(power, sweep)
    result = await work(power, sweep)
    if (power.signal.aborted) throw power.signal.reason as Error
  } catch (error) {
    state = ended(power, error)
  }
  const { reached, isDead } = await makeSafe(handles, state)
  handles.stopReading()
  await withDeadline(power.clock, samplingEndsMs, 'the sampler', () => sampling).catch(() => {})
  await close(handles, reached, result)
  return { state: reached, result, isDead }
}

/** Nothing here waits for the store: safe-off comes first. */
function ended(power: Power, error: unknown): RunState {
  if (power.signal.aborted) return hasCode(power.signal.reason, 'STOPPED') ? 'stopped' : 'tripped'
  if (hasCode(error, 'REFUSED', 'IDENTITY', 'LINK_OPEN') && !power.state.wasOn) {
    void power.recorder.event({ kind: 'refused', severity: 'warning', text: (error as Error).message })
      .catch(() => {})
    return 'refused'
  }
  power.fault('sequence', error instanceof Error ? error.message : String(error))
  return 'tripped'
}

/** One path for every end: muted, mains open, read back, rails measured, said. */
async function makeSafe(
  { power, sampler }: PowerHandles, reached: RunState,
): Promise<{ reached: RunState; isDead: boolean }> {
  standsOff(power)
  const { state, guard, recorder, signal, supervisor, roles } = power
  state.ending ??= {
    as: reached === 'done' || reached === 'refused' || reached === 'stopped' ? reached : 'tripped',
    why: supervisor.latched?.text ?? `run ${reached}`, atMs: power.clock.monotonicMs(),
  }
  const report = await guard.safeOff(reached === 'done' ? 'run ended' : `run ${reached}`)
  state.offRead = report.verifiedMs !== null
  state.openSeen = report.links.some(({ link, verified }) =>
    link === roles.mainsSwitch.name && verified === true)
  if (report.verifiedMs === null && reached !== 'refused') {
    const silent = report.links.filter(({ verified }) => verified !== true)
    power.fault('off.unverified',
      `safe-off was not read back: ${silent.map(({ link, note }) => `${link} ${note}`).join(', ')}`)
  }
  const isDead = reached === 'refused' ? await leftAsFound(power)
    : await railsDown(power, () => sampler.sweep())
  const isCutShort = reached === 'done' && (signal.aborted || supervisor.latched !== null)
  const end = !isCutShort ? reached : hasCode(signal.reason, 'STOPPED') ? 'stopped' : 'tripped'
  if (end === 'done' || end === 'refused') await guard.disarm().catch(() => {})
  await roles.beacon?.show(end === 'done' && isDead ? 'dark' : 'fault').catch(() => {})
  void recorder.event({
    kind: 'off', severity: state.offRead ? 'info' : 'warning',
    text: state.offRead ? 'mains off and read back' : 'mains told to be off; NOT READ BACK',
  }).catch(() => {})
  return { reached: end, isDead }
}

/** A run that gave no mains claims nothing but what it saw: false where that may not be touched. */
async function leftAsFound({ state, recorder, request }: Power): Promise<boolean> {
  const why = state.foundLive ?? (state.openSeen ? null : 'the mains was not read open')
  if (why === null) return true
  state.isDead = false
  void recorder.event({
    kind: 'touch', severity: 'warning', text: `NOT SAFE TO TOUCH (found before any mains was given: ${why})`,
    data: { unit: request.specimen, isDead: false },
  }).catch(() => {})
  return false
}

async function close(
  { power, store }: PowerHandles, state: RunState, result: PartResult | null,
): Promise<void> {
  await power.state.told
  if (result) await power.recorder.result(result).catch(() => {})
  await power.recorder.event({ kind: 'ended', text: `run ${state}` }).catch(() => {})
  await power.recorder.flush().catch(() => {})
  await power.recorder.commit(() => store.finishRun(power.runId, state, power.clock.wallMs())).catch(() => {})
}
