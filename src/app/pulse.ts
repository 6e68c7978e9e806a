/**
 * The heartbeat to the keeper. It is fed only while every watched reading is fresh and nothing has latched,
 * so that a daemon that lives but no longer looks counts as dead. It also notices a host that slept.
 */
import type { Clock } from '../base/clock.ts'
import type { Recorder } from '../engine/recorder.ts'
import type { Keeper } from '../keeper/client.ts'
import type { Supervisor } from '../safety/supervisor.ts'
import { beatLimitMs } from './night-maker.ts'

export const beatEveryMs = beatLimitMs / 4
/** A pulse this late shows that the host slept or stood still. */
const sleptMs = 10 * beatLimitMs
/**
 * How far the wall may run from monotonic time between two pulses. Some hosts count no monotonic time asleep.
 */
const clockStepMs = 5000

/** A run that may have energy on. */
export interface Pulsed {
  readonly clock: Clock
  readonly state: { readonly live: boolean }
  readonly supervisor: Supervisor
  readonly recorder: Recorder
  fault(id: string, text: string): void
}

export function startPulse(
  { night, keeper, livenessClock }: { night: Pulsed; keeper: Pick<Keeper, 'beat'>; livenessClock: Clock },
): () => void {
  let lastMs = livenessClock.monotonicMs()
  let lastSkewMs = livenessClock.wallMs() - lastMs
  let cancel = livenessClock.after(0, pulse)
  function pulse(): void {
    const nowMs = livenessClock.monotonicMs()
    const skewMs = livenessClock.wallMs() - nowMs
    const stepMs = Math.round(skewMs - lastSkewMs)
    if (nowMs - lastMs >= sleptMs) {
      night.fault('host.slept', `the host stood still for ${Math.round(nowMs - lastMs)} ms`)
    }
    if (stepMs >= clockStepMs && night.state.live) {
      night.fault('host.slept',
        `the wall clock ran ahead by ${stepMs} ms: the host slept, or its clock was set`)
    } else if (Math.abs(stepMs) >= clockStepMs) {
      void night.recorder.event({
        kind: 'clock', severity: 'warning', text: `the wall clock stepped by ${stepMs} ms`,
      }).catch(() => {})
    }
    lastMs = nowMs
    lastSkewMs = skewMs
    const stale = night.state.live ? night.supervisor.checkFreshness(night.clock.monotonicMs()) : null
    if (stale) night.fault(stale.id, stale.text)
    keeper.beat(!stale && night.supervisor.latched === null)
    cancel = livenessClock.after(beatEveryMs, pulse)
  }
  return () => cancel()
}
