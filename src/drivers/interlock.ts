/** Cover contact and presence key: an instrument of their own, or two inputs of a relay board. */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Interlock } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { Driver } from './driver.ts'
import { fill } from './format.ts'
import type { RelayProfile } from './relay-board.ts'

export class InterlockDriver extends Driver<ProfileOf<'interlock-reader'>> implements Interlock {
  async read(): Promise<{ coverClosed: boolean; present: boolean }> {
    const { askCoverClosed, askPresent } = this.profile.commands
    const coverClosed = await this.askSwitch(askCoverClosed)
    return { coverClosed, present: await this.askSwitch(askPresent) }
  }
}

/** Input `input` is the cover contact, the one after it the presence key. */
export class BoardInterlock extends Driver<RelayProfile> implements Interlock {
  readonly #askCover: string
  readonly #askPresent: string

  constructor(profile: RelayProfile, port: ScpiPort, clock: Clock, input: number) {
    super(profile, port, clock)
    const { inputs } = profile
    if (!inputs || input < inputs.first || input + 1 > inputs.last) {
      throw new BenchError('OUT_OF_RANGE', 'two inputs for cover and presence', {
        instrument: this.name, expected: inputs ? `${inputs.first} to ${inputs.last}` : 'a board with inputs',
        got: `${input} and ${input + 1}`,
      })
    }
    this.#askCover = fill(inputs.ask, { channel: String(input) })
    this.#askPresent = fill(inputs.ask, { channel: String(input + 1) })
  }

  /** Inputs have no state to put right, and the relays belong to other roles. */
  override async prepare(): Promise<void> {}

  async read(): Promise<{ coverClosed: boolean; present: boolean }> {
    const coverClosed = await this.askSwitch(this.#askCover)
    return { coverClosed, present: await this.askSwitch(this.#askPresent) }
  }
}
