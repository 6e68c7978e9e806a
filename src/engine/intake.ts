/** Where every reading goes: to the supervisor first, then to the record, then to whoever waits. */
import type { Clock } from '../base/clock.ts'
import type { Demand, Supervisor } from '../safety/supervisor.ts'
import type { Channel, Measured, Reading } from '../schema/reading.ts'
import type { PositionState } from './position.ts'
import type { Recorder } from './recorder.ts'
import type { Waiters } from './waiters.ts'

export interface IntakeDeps {
  clock: Clock; supervisor: Supervisor; recorder: Recorder; waiters: Waiters
  positions: readonly PositionState[]
  onDemand: (demand: Demand) => void
}

export class Intake {
  #d: IntakeDeps

  constructor(deps: IntakeDeps) { this.#d = deps }

  take(channel: Channel, { value, u, quality, atMs }: Measured): void {
    const reading: Reading = { channel, value, u, quality, atMs }
    const demand = this.#d.supervisor.judge(reading)
    if (demand) this.#act(demand)
    this.#d.recorder.reading(reading)
    this.#d.waiters.deliver(reading)
  }

  /** What no reading shows, and stops the bench like one that does. */
  fault(id: string, error: unknown): void {
    const text = error instanceof Error ? error.message : String(error)
    this.#d.onDemand(this.#d.supervisor.fault(id, text, this.#d.clock.monotonicMs()))
  }

  /** The verdict stands on the position before anything acts on the drop. */
  #act(demand: Demand): void {
    const position = this.#d.positions.find(({ spec }) => spec.name === demand.position)
    if (position && demand.verdict) position.verdict = demand.verdict
    this.#d.onDemand(demand)
  }
}
