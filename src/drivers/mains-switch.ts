/** A contactor in the mains of a unit. Every change is waited for, and seen at its auxiliary contacts. */
import { sleep, type Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Energising, SafeOffStep } from '../schema/roles.ts'
import type { MainsSwitch, MainsWay } from '../schema/unit-roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { checked, Driver } from './driver.ts'
import { safeOffOf } from './safe-off.ts'

type Profile = ProfileOf<'mains-contactor'>

export class MainsSwitchDriver extends Driver<Profile> implements MainsSwitch {
  readonly ways: readonly MainsWay[]
  readonly holdMs: number
  readonly settleMs: number
  readonly refreshCommand: string
  readonly safeOff: SafeOffStep
  readonly energising: readonly Energising[]

  constructor(profile: Profile, port: ScpiPort, clock: Clock) {
    super(profile, port, clock)
    this.ways = profile.ways.map(({ name, seriesOhm, seriesW, share }) =>
      ({ name, seriesOhm, seriesW: seriesW ?? null, share }))
    this.holdMs = profile.holdMs
    this.settleMs = profile.settleMs
    this.refreshCommand = profile.commands.refresh
    this.safeOff = safeOffOf(profile.safeOff)
    this.energising = profile.ways.map(({ close }) => ({ begins: close, but: [] }))
  }

  override async prepare(): Promise<void> {
    await super.prepare()
    await this.open()
  }

  async close(way: string): Promise<void> {
    const asked = this.#wayOf(way)
    const before = await this.closedWay()
    // One way opens before another closes, whatever the instrument would do by itself.
    if (before !== null && before !== way) await this.open()
    const seen = await this.#move(asked.close)
    if (seen === way) return
    // What did not close as it was told is not left half way; of the two faults the first is told.
    await this.port.write(this.profile.commands.open, checked).catch(() => {})
    throw this.notTaken(asked.close, `${way} closed`, wordOf(seen))
  }

  async open(): Promise<void> {
    const { open } = this.profile.commands
    const seen = await this.#move(open)
    if (seen !== null) throw this.notTaken(open, 'all poles open', wordOf(seen))
  }

  async closedWay(): Promise<string | null> {
    const { commands: { askWay } } = this.profile
    const got = await this.#seen()
    if (got !== fault) return got
    throw this.notTaken(askWay, 'poles that agree', 'one that is welded, or did not close')
  }

  async #move(command: string): Promise<Seen> {
    await this.port.write(command, checked)
    await sleep(this.clock, this.settleMs)
    return this.#seen()
  }

  async #seen(): Promise<Seen> {
    const { ways, readsOpen, readsFault, commands: { askWay } } = this.profile
    const got = (await this.port.query(askWay)).toUpperCase()
    const is = (word: string): boolean => got === word.toUpperCase()
    if (is(readsOpen)) return null
    if (readsFault.some(is)) return fault
    const found = ways.find(way => is(way.reads))
    if (found) return found.name
    throw new BenchError('ANSWER_FORM', 'the answer makes no sense', {
      instrument: this.name, command: askWay, got: got === '' ? 'an empty line' : got.slice(0, 80),
      expected: [...ways.map(way => way.reads), readsOpen, ...readsFault].join(' or '),
    })
  }

  #wayOf(name: string): Profile['ways'][number] {
    const found = this.profile.ways.find(way => way.name === name)
    if (found) return found
    throw new BenchError('OUT_OF_RANGE', 'way to the unit', {
      instrument: this.name, expected: this.ways.map(way => way.name).join(' or '), got: name,
    })
  }
}

/** The poles do not agree. */
const fault = Symbol('poles that do not agree')
/** A way, null where all poles are open. */
type Seen = string | null | typeof fault
const wordOf = (seen: Seen): string =>
  seen === null ? 'open' : seen === fault ? 'poles that do not agree' : `${seen} closed`
