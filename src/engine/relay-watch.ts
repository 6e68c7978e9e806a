/**
 * Asks the relay board whether what was put on the bus still is: a board that lost its
 * power releases everything.
 */
import type { Clock } from '../base/clock.ts'
import { sleep } from '../base/clock.ts'
import { relayOf } from '../schema/fixture.ts'
import type { RelayBoard } from '../schema/roles.ts'
import type { PositionState } from './position.ts'

export interface RelayWatch {
  clock: Clock
  board: RelayBoard
  positions: readonly PositionState[]
  everyMs: number
  /** Called once, with words; the watch ends then. */
  onLost: (text: string) => void
}

/**
 * Runs until the signal aborts (rejecting with its reason) or a relay is found released that should be held.
 */
export async function watchRelays(
  { clock, board, positions, everyMs, onLost }: RelayWatch, signal: AbortSignal,
): Promise<void> {
  while (!signal.aborted) {
    await sleep(clock, everyMs, signal)
    const standing = positions.filter(isHeld)
    if (standing.length === 0) continue
    const held = await board.held(standing.map(({ spec }) => relayOf(spec)))
    // One that was told to leave in the meantime may answer either way.
    const lost = standing.filter((position, i) => !held[i] && isHeld(position))
    if (lost.length === 0) continue
    const names = lost.map(({ spec }) => spec.name).join(' ')
    onLost(`the relay board released ${names} by itself: it may have lost its power`)
    return
  }
}

const isHeld = ({ wiring, ordered }: PositionState): boolean => wiring === 'bus' && ordered === 'bus'
