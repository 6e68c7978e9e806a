/** The cutoff: a hold-in contactor, or for attended use one relay of a board. */
import { sleep, type Clock } from '../base/clock.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Cutoff, Energising, SafeOffStep } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { checked, Driver } from './driver.ts'
import { RelayBoardDriver, type RelayProfile } from './relay-board.ts'
import { safeOffOf } from './safe-off.ts'

type Profile = ProfileOf<'hold-in-relay'>

export class HoldInCutoff extends Driver<Profile> implements Cutoff {
  readonly safeOff: SafeOffStep

  constructor(profile: Profile, port: ScpiPort, clock: Clock) {
    super(profile, port, clock)
    this.safeOff = safeOffOf(profile.safeOff)
  }

  get holdMs(): number { return this.profile.holdMs }
  get settleMs(): number { return this.profile.settleMs }
  get refreshCommand(): string { return this.profile.commands.refresh }
  get energising(): readonly Energising[] { return [{ begins: this.profile.commands.close, but: [] }] }

  override async prepare(): Promise<void> {
    await super.prepare()
    await this.open()
  }

  async close(): Promise<void> { await this.#move(this.profile.commands.close, true) }
  async open(): Promise<void> { await this.#move(this.profile.commands.open, false) }
  async isClosed(): Promise<boolean> { return this.askSwitch(this.profile.commands.askClosed) }

  /**
   * The contact is waited for and seen, since a coil circuit that is broken elsewhere takes the command all
   * the same.
   */
  async #move(command: string, closed: boolean): Promise<void> {
    await this.port.write(command, checked)
    await sleep(this.clock, this.profile.settleMs)
    if (await this.isClosed() === closed) return
    throw this.notTaken(command, closed ? 'closed' : 'open', closed ? 'open' : 'closed')
  }
}

/**
 * One relay of a board as cutoff: held is closed. It has no hold-in timer, so it is no cutoff for unattended
 * use.
 */
export class RelayCutoff implements Cutoff {
  readonly name: string
  readonly holdMs = 0
  readonly settleMs: number
  /** Nothing to refresh; sending the hold command again would close what a safe-off has opened. */
  readonly refreshCommand = ''
  readonly safeOff: SafeOffStep
  readonly energising: readonly Energising[]
  readonly #board: RelayBoardDriver
  readonly #relay: readonly number[]

  constructor(profile: RelayProfile, port: ScpiPort, clock: Clock, relay: number) {
    this.#board = new RelayBoardDriver(profile, port, clock, [relay])
    this.#relay = [relay]
    this.name = this.#board.name
    this.settleMs = this.#board.settleMs
    this.safeOff = this.#board.safeOff
    this.energising = [{ begins: this.#board.holdLine(relay), but: [] }]
  }

  identify() { return this.#board.identify() }
  prepare(): Promise<void> { return this.#board.prepare() }
  close(): Promise<void> { return this.#board.hold(this.#relay) }
  open(): Promise<void> { return this.#board.release(this.#relay) }
  async isClosed(): Promise<boolean> { return (await this.#board.held(this.#relay))[0] === true }
}
