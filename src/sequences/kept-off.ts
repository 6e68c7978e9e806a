/** A part that the bridge keeps off the bus: when nothing but its bleeder was on it, and when it read low. */
import { nextOf, rest } from '../engine/bus.ts'
import type { Night } from '../engine/night.ts'
import { seriesOhm } from '../engine/position.ts'
import type { PositionState } from '../engine/position.ts'

/** `foundMs`: when the bridge measured it, monotonic. */
export interface KeptOff { kind: 'condemned' | 'unjudged'; why: string; foundMs: number }

/**
 * Call it when the relay to the bridge was told to let go. The part was never on the bus: the times tell when
 * the finding had its effect, and are no proof of dead.
 */
export async function tellKeptOff(
  night: Night, position: PositionState, { kind, why, foundMs }: KeptOff,
): Promise<void> {
  const { name } = position.spec
  await rest(night, night.roles.positions?.settleMs ?? 0)
  const offMs = night.clock.monotonicMs()
  night.sampler.hurry(5000, 300)
  await night.recorder.event({
    kind, severity: 'warning', position: name, text: `${name}: ${why}`,
    data: { findingToDisconnectedMs: offMs - foundMs },
  })
  const doubt = position.fault === null ? position.unsettled : 'its path did not pass bench-check'
  if (doubt !== null) return await tellUnmeasured(night, position, doubt)
  const reading = await nextOf(night, position, offMs)
  if (reading === null) return
  const ohm = seriesOhm(night.bench.fixture, position, false)
  const { touchSafeV } = night.bench.limits
  if (!(ohm * (Math.abs(reading.value) + 2 * reading.u) < touchSafeV)) return
  await night.recorder.event({
    kind: 'kept-off', position: name,
    text: `${name} was never on the bus, and reads below ${touchSafeV} V on its bleeder; `
      + 'prove dead before touching',
    data: { findingToTouchSafeMs: reading.atMs - foundMs },
  })
}

/** Its path shows nothing that can be believed. */
async function tellUnmeasured(night: Night, position: PositionState, why: string): Promise<void> {
  const words = `NOT SAFE TO TOUCH: UNMEASURED (never on the bus; ${why})`
  position.held = { ...position.held, words }
  await night.recorder.event({
    kind: 'kept-off', position: position.spec.name, text: `${position.spec.name} ${words}`,
  })
}
