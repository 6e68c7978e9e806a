/** What every driver does alike: identity, known state, settings that are read back, switches, numbers. */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { InstrumentProfile } from '../schema/instrument-profile.ts'
import type { Identity } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { parseIdentity } from '../scpi/values.ts'
import { Answers } from './answers.ts'
import { fill } from './format.ts'

/**
 * Every command that changes state drains the error queue, so that an instrument error fails the call that
 * caused it.
 */
export const checked = { check: true } as const

export abstract class Driver<P extends InstrumentProfile> {
  readonly name: string
  protected readonly profile: P
  protected readonly port: ScpiPort
  protected readonly clock: Clock
  protected readonly answers: Answers

  constructor(profile: P, port: ScpiPort, clock: Clock) {
    this.name = port.name
    this.profile = profile
    this.port = port
    this.clock = clock
    this.answers = new Answers(port.name, profile)
  }

  async identify(): Promise<Identity> {
    return parseIdentity(await this.port.query('*IDN?'))
  }

  async prepare(): Promise<void> {
    for (const command of this.profile.prepare) await this.port.write(command, checked)
  }

  /**
   * Sends a number and sees that the instrument took it to within `tolerance`; returns what it says it took.
   */
  protected async setNumber(
    template: string, text: string, ask: string | undefined, tolerance: number, unit: string,
  ): Promise<number> {
    const command = fill(template, { value: text })
    await this.port.write(command, checked)
    const sent = Number(text)
    if (ask === undefined) return sent
    const took = await this.askNumber(ask, unit)
    if (Math.abs(took - sent) <= tolerance * (1 + 1e-9)) return took
    throw this.notTaken(command, `${text} ${unit}`, `${took} ${unit}`)
  }

  /** Switches something and sees that it switched. */
  protected async setSwitch(template: string, on: boolean, ask: string): Promise<void> {
    const { booleans } = this.profile
    const command = fill(template, { on: on ? booleans.on : booleans.off })
    await this.port.write(command, checked)
    const took = await this.askSwitch(ask)
    if (took !== on) throw this.notTaken(command, on ? 'on' : 'off', took ? 'on' : 'off')
  }

  /** A number that must be one: a set value, a status word. */
  protected async askNumber(query: string, unit = ''): Promise<number> {
    return this.answers.plainNumber(query, await this.port.query(query), unit)
  }

  protected async askSwitch(query: string): Promise<boolean> {
    return this.answers.switchOf(query, await this.port.query(query))
  }

  protected inRange(what: string, value: number, lowest: number, highest: number, unit: string): void {
    if (value >= lowest && value <= highest) return
    throw new BenchError('OUT_OF_RANGE', what, {
      instrument: this.name, expected: `${lowest} to ${highest} ${unit}`, got: `${value} ${unit}`,
    })
  }

  protected notTaken(command: string, expected: string, got: string): BenchError {
    const context = { instrument: this.name, command, expected, got }
    return new BenchError('READ_BACK', 'the setting did not take', context)
  }
}
