/** A multimeter used as a DC voltmeter. */
import type { Clock } from '../base/clock.ts'
import type { Measured } from '../schema/reading.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Voltmeter } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { MeterDriver } from './meter.ts'

export class VoltmeterDriver extends MeterDriver implements Voltmeter {
  #inputOhm: number

  constructor(profile: ProfileOf<'multimeter'>, port: ScpiPort, clock: Clock) {
    super(profile, port, clock, 'V', profile.ranges.map(range => ({ ...range, size: range.rangeV })))
    this.#inputOhm = this.#lowestOf(this.ranges)
  }

  /** The lowest of the ranges in use: what loads the circuit in the worst case. */
  get inputOhm(): number { return this.#inputOhm }

  override async prepare(): Promise<void> {
    await super.prepare()
    await this.configure({ rangeV: 'auto', nplc: 1 })
  }

  async configure({ rangeV, nplc }: { rangeV: number | 'auto'; nplc: number }): Promise<void> {
    const setup = { size: rangeV, nplc }
    this.refuse(setup)
    this.#inputOhm = this.#lowestOf(await this.setUp(this.profile.commands, setup))
  }

  readVoltage(): Promise<Measured> { return this.reading(this.profile.commands.read) }

  #lowestOf(inUse: readonly { size: number }[]): number {
    const sizes = inUse.map(range => range.size)
    return Math.min(...this.profile.ranges.filter(r => sizes.includes(r.rangeV)).map(r => r.inputOhm))
  }
}
