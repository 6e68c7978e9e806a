/**
 * Attended use: somebody must show presence again and again while the bench is live. What counts is the act,
 * a press of the button or a turn of the key (the input goes from absent to present), or a person's name to
 * the daemon: an input that merely stays on proves nobody.
 */
import type { Clock } from '../base/clock.ts'
import { sleep } from '../base/clock.ts'
import type { Interlock } from '../schema/roles.ts'
import type { RunEvent } from '../schema/run.ts'

/** How often the input is looked at; a press must last this long to be sure of being seen. */
const presencePollMs = 500

/** What goes on and needs somebody there: a night at the rack, or a unit on the stand. */
export interface Attended {
  readonly clock: Clock
  readonly roles: { readonly interlock?: Interlock | undefined }
  readonly recorder: { event(told: Pick<RunEvent, 'kind' | 'text'>): Promise<unknown> }
  readonly state: { readonly live: boolean }
  fault(id: string, text: string): void
}

export interface PresenceWatch {
  /** Somebody showed presence in another way. */
  confirm(person: string): void
  stop(): void
}

/**
 * Watches from now until `stop`. Silence for `limitMs` while live is a fault; a fault is safe-off.
 */
export function watchPresence(night: Attended, limitMs: number): PresenceWatch {
  const ending = new AbortController()
  let lastMs = night.clock.monotonicMs()
  const confirm = (who: string): void => {
    lastMs = night.clock.monotonicMs()
    void night.recorder.event({ kind: 'presence', text: `${who} at the bench` }).catch(() => {})
  }
  const judge = (): void => {
    const nowMs = night.clock.monotonicMs()
    if (!night.state.live) { lastMs = nowMs; return }
    if (nowMs - lastMs < limitMs) return
    const silentS = Math.round((nowMs - lastMs) / 1000)
    night.fault('presence', `nobody has shown presence for ${silentS} s in attended use`)
  }
  // Two loops: an input that never answers must not hold up the judgement.
  void every(night.clock, ending.signal, async () => { judge() })
  void watchInput(night, ending.signal, () => confirm('somebody showed presence'))
  return { confirm, stop: () => ending.abort() }
}

/** An input that cannot be read confirms nothing, and the silence runs on. */
async function watchInput(night: Attended, signal: AbortSignal, pressed: () => void): Promise<void> {
  const { interlock } = night.roles
  if (!interlock) return
  let before = true
  await every(night.clock, signal, async () => {
    const { present } = await interlock.read()
    if (present && !before && !signal.aborted) pressed()
    before = present
  })
}

async function every(clock: Clock, signal: AbortSignal, act: () => Promise<void>): Promise<void> {
  while (!signal.aborted) {
    await act().catch(() => {})
    await sleep(clock, presencePollMs, signal).catch(() => {})
  }
}
