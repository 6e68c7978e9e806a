/** Absorption: what comes back when the bleeders open, under watch. */
import { sleep } from '../base/clock.ts'
import { changedOver, dropsDone } from './bleed.ts'
import type { Night } from './night.ts'
import { partVolts, seriesOhm } from './position.ts'
import type { PositionState } from './position.ts'

/**
 * Opens the bleeders onto the watch resistance for `ms`, then closes them; what came back is noted per
 * position. Ends at once when a part comes near touch-safe.
 */
export async function watchRecovery(night: Night, ms: number): Promise<Map<PositionState, number>> {
  const highestV = new Map<PositionState, number>()
  const { bleed } = night.roles
  const target = night.bench.roles.bleed
  const relay = typeof target === 'object' ? target.relay : undefined
  if (!bleed || relay === undefined || night.bench.fixture.watchOhm === undefined) return highestV
  // A part that is still on its way down would be misread through the watch resistance.
  await dropsDone(night)
  await bleed.hold([relay])
  try {
    await sleep(night.clock, bleed.settleMs, night.signal)
    // A reading that began before the bleeders opened, taken through the watch resistance, would
    // be volts that never were.
    await changedOver(night)
    night.state.watching = true
    await watch(night, night.clock.monotonicMs(), ms, highestV)
  } finally {
    night.state.watching = false
    await bleed.release([relay])
  }
  return highestV
}

async function watch(
  night: Night, openedMs: number, ms: number, highestV: Map<PositionState, number>,
): Promise<void> {
  for (;;) {
    const leftMs = openedMs + ms - night.clock.monotonicMs()
    if (leftMs <= 0) return
    await sleep(night.clock, Math.min(night.bench.cadence.sweepMs, Math.max(1, leftMs)), night.signal)
    if (noteRecovery(night, openedMs, highestV)) return
  }
}

/** True when a part has come back so far that the bleeders must close. */
function noteRecovery(night: Night, openedMs: number, highestV: Map<PositionState, number>): boolean {
  const { fixture, limits } = night.bench
  let near: PositionState | null = null
  for (const position of night.positions) {
    if (position.current === null || position.current.atMs < openedMs) continue
    const volts = Math.abs(partVolts(fixture, position, true) ?? 0)
    if (volts > (highestV.get(position) ?? 0)) highestV.set(position, volts)
    if (volts + 2 * position.current.u * seriesOhm(fixture, position, true) >= limits.touchSafeV) {
      near = position
    }
  }
  if (near === null) return false
  void night.recorder.event({ kind: 'recovery', severity: 'warning', position: near.spec.name,
    text: `${near.spec.name} came back to ${highestV.get(near)!.toFixed(0)} V, near touch-safe: `
      + 'the bleeders close' })
      .catch(() => {})
  return true
}
