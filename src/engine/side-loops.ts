/**
 * What is looked at beside bus and positions: cover, relays, cans. Each loop runs until the signal aborts.
 */
import type { Clock } from '../base/clock.ts'
import type { BenchFile } from '../schema/bench.ts'
import type { Measured } from '../schema/reading.ts'
import type { Cutoff, Interlock, RelayBoard, Thermometer } from '../schema/roles.ts'
import type { ChannelTable } from './channels.ts'
import type { Intake } from './intake.ts'
import type { Pace } from './pace.ts'
import type { PositionState } from './position.ts'
import { watchRelays } from './relay-watch.ts'

export interface SideDeps {
  clock: Clock; bench: BenchFile; channels: ChannelTable; intake: Intake; pace: Pace
  positions: readonly PositionState[]
  live: () => boolean
  /** Whether the bus was brought to its set-point and is to stay there. */
  busStands: () => boolean
}

interface Cutting { cutoff: Cutoff; interlock?: Interlock | undefined }

/** The cover contact breaks the cutoff's coil by itself; this makes it known, and latched. */
export async function coverLoop(
  { bench, clock, intake, pace, live }: SideDeps, interlock: Interlock, signal: AbortSignal,
): Promise<void> {
  while (!signal.aborted) {
    const startedMs = clock.monotonicMs()
    if (live() && !(await interlock.read()).coverClosed && live()) {
      return coverOpen(intake)
    }
    await pace.pause(startedMs + bench.cadence.busQuietMs)
  }
}

const coverOpen = (intake: Intake): void =>
  intake.fault('cover.open', 'the cover was opened while energy was on')

/**
 * A cutoff that lets go takes the bus down with it, unless its contact has welded: then only its own
 * read-back tells that it would no longer part.
 */
export async function cutoffLoop(
  { bench, clock, intake, pace, busStands }: SideDeps, { cutoff, interlock }: Cutting,
  signal: AbortSignal,
): Promise<void> {
  while (!signal.aborted) {
    const startedMs = clock.monotonicMs()
    if (busStands() && !(await cutoff.isClosed()) && busStands()) {
      if (interlock && !(await interlock.read()).coverClosed) return coverOpen(intake)
      return intake.fault('cutoff.open', 'the cutoff reads open though nobody opened it')
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
      seeCase(position, measured)
      intake.take(channel, measured)
    }
    await pace.pause(startedMs + bench.cadence.temperatureMs)
  }
}

/** No can warms faster than its profile says, and none is hot before anything flows into it. */
function seeCase(position: PositionState, { value: celsius, quality, atMs }: Measured): void {
  if (quality !== 'good') return
  const { caseSeen: before, profile: { caseMaxC, caseRiseMaxK } } = position
  const isHot = before === null && celsius >= caseMaxC
  const minutes = before === null ? 0 : Math.max(1, (atMs - before.atMs) / 60_000)
  const jumped = before !== null && celsius - before.celsius >= caseRiseMaxK * minutes
  const doubt = isHot ? 'and it read so from the first' : jumped ? 'and it jumped there'
    : before?.doubt ?? null
  position.caseSeen = { celsius, atMs, doubt }
}
