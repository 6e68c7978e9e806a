/** The bus once everything was told off. */
import { busStaleMs } from '../safety/silence.ts'
import type { Night } from './night.ts'
import { busIsDead } from './standing.ts'

/** Longer than a bus takes to fall through its bleeder; one that stays up is told of (modelling choice). */
const fallMs = 20_000

/**
 * Whether a reading of the bus meter that was taken after `offAtMs` (monotonic) finds the bus dead. What was
 * read before shows nothing of how the bus was left: a supply may run away between two readings. Waits for as
 * long as a bus takes to fall, and less for a meter that is silent. Without a meter on the bus, and where it
 * was never read, what is known tells at once.
 */
export async function busDiesAfter(night: Night, offAtMs: number): Promise<boolean> {
  const { clock, sampler, roles, state, bench, channels } = night
  if (!roles['bus-meter'] || !sampler.busV || !state.busTrusted) return busIsDead(night)
  const isDead = (): boolean => (sampler.busV?.atMs ?? -Infinity) > offAtMs && busIsDead(night)
  const untilMs = clock.monotonicMs() + fallMs
  while (!isDead()) {
    const leftMs = untilMs - clock.monotonicMs()
    if (leftMs <= 0) return false
    sampler.attend(leftMs)
    const withinMs = Math.min(leftMs, busStaleMs(bench.cadence))
    const wait = { afterMs: clock.monotonicMs(), withinMs, signal: night.reading }
    if (await night.waiters.next(channels.busVoltage, wait).catch(() => null) === null) return isDead()
  }
  return true
}
