/**
 * A watched behaviour where one bound on one channel is not enough: rates, sums, readings that do not move.
 * The state machine is pure; its input is made from a reading and from what the bench was told to do.
 */
import type { Reading } from '../schema/reading.ts'
import type { Reaction } from './limit.ts'
import type { Verdict } from './verdict.ts'

export interface Machine<State, Input> {
  readonly fresh: State
  step(state: State, input: Input): State
  /** Why this state trips, as a clause, or null. */
  says(state: State): string | null
}

export interface WatchName {
  /** Unique within a run, e.g. `P03.charge`. */
  readonly id: string
  /** Names of the channels whose readings it sees. */
  readonly channels: readonly string[]
  readonly reaction: Reaction
  /** Position to drop; required where reaction is `drop`. */
  readonly position?: string
  /** What a drop says of the part; condemned when left out. */
  readonly verdict?: Verdict
}

export interface Watch extends WatchName {
  /** Sees one reading; says why when that reading trips it. */
  see(reading: Reading): string | null
}

/** Runs `machine` over the readings; those that `input` makes null are passed over. */
export function watchBy<State, Input>(
  name: WatchName, machine: Machine<State, Input>, input: (reading: Reading) => Input | null,
): Watch {
  let state = machine.fresh
  return {
    ...name,
    see: reading => {
      const seen = input(reading)
      if (seen === null) return null
      state = machine.step(state, seen)
      return machine.says(state)
    },
  }
}
