/**
 * What is looked at beside bus and positions: cover, relays, cans. Each loop runs until the signal aborts.
 */
import type { Clock } from '../base/clock.ts'
import type { BenchFile } from '../schema/bench.ts'
import type { Interlock, RelayBoard, Thermometer } from '../schema/roles.ts'
import type { ChannelTable } from './channels.ts'
import type { Intake } from './intake.ts'
import type { Pace } from './pace.ts'
import type { PositionState } from './position.ts'
import { watchRelays } from './relay-watch.ts'

export interface SideDeps {
  clock: Clock; bench: BenchFile; channels: ChannelTable; intake: Intake; pace: Pace
  positions: readonly PositionState[]
  live: () => boolean
}

/** The cover contact breaks the cutoff's coil by itself; this makes it known, and latched. */
export async function coverLoop(
  { bench, clock, intake, pace, live }: SideDeps, interlock: Interlock, signal: AbortSignal,
): Promise<void> {
  while (!signal.aborted) {
    const startedMs = clock.monotonicMs()
    if (live() && !(await interlock.read()).coverClosed && live()) {
      return intake.fault('cover.open', 'the cover was opened while energy was on')
    }
    await pace.pause(startedMs + bench.cadence.busQuietMs)
  }
}

export async function relayLoop(
  { bench, clock, intake, positions }: SideDeps, board: RelayBoard, signal: AbortSignal,
): Promise<void> {
  await watchRelays({
    clock, board, positions, everyMs: bench.cadence.sweepQuietMs,
    onLost: text => intake.fault('positions.lost', text),
  }, signal)
}

export async function temperatureLoop(
  deps: SideDeps, thermometer: Thermometer, signal: AbortSignal,
): Promise<void> {
  const { bench, channels, clock, intake, pace, positions } = deps
  while (!signal.aborted) {
    const startedMs = clock.monotonicMs()
    for (const position of positions) {
      const channel = channels.caseTemperature[position.index]
      if (signal.aborted) return
      if (!channel || position.spec.thermometer === undefined) continue
      const measured = await thermometer.readTemperature(position.spec.thermometer)
      position.caseC = measured.quality === 'good' ? measured.value : null
      intake.take(channel, measured)
    }
    await pace.pause(startedMs + bench.cadence.temperatureMs)
  }
}
