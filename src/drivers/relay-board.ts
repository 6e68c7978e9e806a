/** A board of relays, or a part of one. Every change is drained of errors, waited for and read back. */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Energising, RelayBoard, SafeOffStep } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { checked, Driver } from './driver.ts'
import { beginningOf, channelList, fill, groupsOf } from './format.ts'
import { safeOffOf } from './safe-off.ts'

export type RelayProfile = ProfileOf<'relay-board'>

export class RelayBoardDriver extends Driver<RelayProfile> implements RelayBoard {
  readonly safeOff: SafeOffStep
  /** The relays this driver may touch; undefined for all of the board. */
  readonly #own: readonly number[] | undefined

  /** With `own`, several roles share one board and none can move the relays of another. */
  constructor(profile: RelayProfile, port: ScpiPort, clock: Clock, own?: readonly number[]) {
    super(profile, port, clock)
    this.#own = own
    if (own) this.#refuseUnknown(own)
    this.safeOff = own ? this.#safeOffOf(own) : safeOffOf(profile.safeOff)
  }

  get settleMs(): number { return this.profile.settleMs }
  get contactLife(): number { return this.profile.contacts.life }
  get energising(): readonly Energising[] {
    return this.#own ? [] : [{ begins: beginningOf(this.profile.commands.hold), but: [] }]
  }

  holdLine(relay: number): string { return fill(this.profile.commands.hold, { list: channelList([relay]) }) }

  override async prepare(): Promise<void> {
    if (this.#own) return this.releaseAll()
    await super.prepare()
    await this.releaseAll()
  }

  async hold(relays: readonly number[]): Promise<void> {
    await this.#drive(this.profile.commands.hold, relays, true)
  }
  async release(relays: readonly number[]): Promise<void> {
    await this.#drive(this.profile.commands.release, relays, false)
  }

  async releaseAll(): Promise<void> {
    if (this.#own) return this.release(this.#own)
    const { releaseAll, askHeldCount } = this.profile.commands
    await this.port.write(releaseAll, checked)
    await this.#wait()
    if (askHeldCount === undefined) return
    const count = await this.askNumber(askHeldCount)
    if (count !== 0) throw this.notTaken(releaseAll, 'no relay held', `${count} held`)
  }

  async held(relays: readonly number[]): Promise<boolean[]> {
    this.#refuseForeign(relays)
    const states: boolean[] = []
    const { askHeld } = this.profile.commands
    for (const group of this.#groups(relays, askHeld)) {
      const query = fill(askHeld, { list: channelList(group) })
      const parts = (await this.port.query(query)).split(',')
      if (parts.length !== group.length) {
        throw new BenchError('ANSWER_FORM', 'not a list of relay states', {
          instrument: this.name, command: query, expected: `${group.length} states`, got: parts.join(','),
        })
      }
      for (const part of parts) states.push(this.answers.switchOf(query, part.trim()))
    }
    return states
  }

  async #drive(template: string, relays: readonly number[], held: boolean): Promise<void> {
    this.#refuseForeign(relays)
    if (relays.length === 0) return
    const groups = this.#groups(relays, template)
    for (const group of groups) await this.port.write(fill(template, { list: channelList(group) }), checked)
    await this.#wait()
    const states = await this.held(relays)
    const wrong = relays.filter((_, i) => states[i] !== held)
    if (wrong.length === 0) return
    const words = held ? ['held', 'released'] as const : ['released', 'held'] as const
    throw this.notTaken(fill(template, { list: channelList(wrong) }), words[0], words[1])
  }

  async #wait(): Promise<void> {
    if (this.profile.commands.wait !== undefined) await this.port.query(this.profile.commands.wait)
  }

  #groups(relays: readonly number[], template: string): number[][] {
    return groupsOf(relays, this.profile.relaysPerCommand, template, this.profile.link.inputBufferBytes)
  }

  #safeOffOf(own: readonly number[]): SafeOffStep {
    const { release, askHeld } = this.profile.commands
    const commands = this.#groups(own, release).map(group => fill(release, { list: channelList(group) }))
    if (own.length !== 1) return { commands }
    const query = fill(askHeld, { list: channelList(own) })
    return { commands, verify: { query, safe: [0, this.profile.booleans.readsOff] } }
  }

  #refuseForeign(relays: readonly number[]): void {
    this.#refuseUnknown(relays)
    const foreign = this.#own && relays.find(relay => !this.#own!.includes(relay))
    if (foreign === undefined) return
    throw new BenchError('OUT_OF_RANGE', 'relay of another role', {
      instrument: this.name, expected: channelList(this.#own!), got: String(foreign),
    })
  }

  #refuseUnknown(relays: readonly number[]): void {
    const { first, last } = this.profile.relays
    for (const relay of relays) {
      if (Number.isInteger(relay) && relay >= first && relay <= last) continue
      throw new BenchError('OUT_OF_RANGE', 'relay', {
        instrument: this.name, expected: `${first} to ${last}`, got: String(relay),
      })
    }
  }
}
