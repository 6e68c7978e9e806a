/** The lamp that says what the bench is doing: an instrument of its own, or two relays of a board. */
import type { Clock } from '../base/clock.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Beacon } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { checked, Driver } from './driver.ts'
import { RelayBoardDriver, type RelayProfile } from './relay-board.ts'

export class BeaconDriver extends Driver<ProfileOf<'beacon'>> implements Beacon {
  async show(state: 'dark' | 'live' | 'fault'): Promise<void> {
    await this.port.write(this.profile.commands[state], checked)
  }
}

/** Relay `relay` lights the lamp for `live`, the one after it the lamp for `fault`. */
export class RelayBeacon implements Beacon {
  readonly name: string
  readonly #board: RelayBoardDriver
  readonly #live: readonly number[]
  readonly #fault: readonly number[]

  constructor(profile: RelayProfile, port: ScpiPort, clock: Clock, relay: number) {
    this.#board = new RelayBoardDriver(profile, port, clock, [relay, relay + 1])
    this.name = this.#board.name
    this.#live = [relay]
    this.#fault = [relay + 1]
  }

  identify() { return this.#board.identify() }
  prepare(): Promise<void> { return this.#board.prepare() }

  /** The lamp that is wanted lights before the other goes out: a beacon is never dark between two states. */
  async show(state: 'dark' | 'live' | 'fault'): Promise<void> {
    if (state === 'dark') return this.#board.releaseAll()
    const [on, off] = state === 'live' ? [this.#live, this.#fault] : [this.#fault, this.#live]
    await this.#board.hold(on)
    await this.#board.release(off)
  }
}
