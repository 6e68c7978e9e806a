/** The bus once everything was told off. */
import { busStaleMs } from '../safety/silence.ts'
import type { Night } from './night.ts'
import { busIsDead } from './standing.ts'

/** Longer than a bus takes to fall through its bleeder; one that stays up is told of (modelling choice). */
const fallMs = 20_000

/**
 * Waits until a reading of the bus meter taken after `offAtMs` (monotonic) finds the bus dead: at most so
 * long as a bus takes to fall, and not for a meter that is silent. What was read before shows nothing of how
 * the bus was left: a supply may run away between two readings. Where no meter is on the bus there is
 * nothing to wait for.
 */
export async function lookAtBus(night: Night, offAtMs: number): Promise<void> {
  const { clock, sampler, roles, state, bench, channels } = night
  if (!roles['bus-meter'] || !state.busTrusted) return
  const untilMs = clock.monotonicMs() + fallMs
  while ((sampler.busV?.atMs ?? -Infinity) <= offAtMs || !busIsDead(night)) {
    const leftMs = untilMs - clock.monotonicMs()
    if (leftMs <= 0) return
    sampler.attend(leftMs)
    const wait = { afterMs: clock.monotonicMs(), withinMs: busStaleMs(bench.cadence), signal: night.reading }
    if (await night.waiters.next(channels.busVoltage, wait).catch(() => null) === null) return
  }
}
