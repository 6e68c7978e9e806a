/** A multimeter used for RMS volts. */
import type { Clock } from '../base/clock.ts'
import type { Measured } from '../schema/reading.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { AcMeter } from '../schema/unit-roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { formatNumber } from '../scpi/values.ts'
import { checked, Driver } from './driver.ts'
import { Scale } from './scale.ts'

type Alternating = NonNullable<ProfileOf<'multimeter'>['alternating']>

/** How many readings an instrument may take to find its range. */
const autorangeTries = 4

export class AcMeterDriver extends Driver<ProfileOf<'multimeter'>> implements AcMeter {
  readonly #alternating: Alternating
  readonly #all: readonly Scale[]
  /** Of the one range that is set, or of all of them while it ranges by itself. */
  #scales: readonly Scale[]

  /** `alternating`: that section of `profile`, which is known to have one. */
  constructor(
    profile: ProfileOf<'multimeter'>, alternating: Alternating, port: ScpiPort, clock: Clock,
  ) {
    super(profile, port, clock)
    this.#alternating = alternating
    const { ranges, stepShare, noiseShare } = alternating
    this.#all = ranges.map(({ rangeV, overRangePct, accuracy }) => {
      const digit = rangeV * stepShare
      const scale = { unit: 'V' as const, accuracy, range: rangeV, digit, noise: rangeV * noiseShare }
      return new Scale({ ...scale, lowest: 0, highest: rangeV * (1 + overRangePct / 100) + digit })
    })
    this.#scales = this.#all
  }

  get inputOhm(): number { return this.#alternating.inputOhm }
  get bandMinHz(): number { return this.#alternating.bandMinHz }
  get bandMaxHz(): number { return this.#alternating.bandMaxHz }
  get readingMs(): number { return this.#alternating.readingMs }

  override async prepare(): Promise<void> {
    await super.prepare()
    await this.configure({ rangeV: 'auto' })
  }

  async configure({ rangeV }: { rangeV: number | 'auto' }): Promise<void> {
    const { ranges, commands: c } = this.#alternating
    if (rangeV !== 'auto') this.inRange('range', rangeV, 0, ranges.at(-1)!.rangeV, 'V')
    if (c.select !== undefined) await this.port.write(c.select, checked)
    if (rangeV === 'auto') {
      await this.port.write(c.autoRange, checked)
      const isAuto = c.askAutoRange === undefined || await this.askSwitch(c.askAutoRange)
      if (!isAuto) throw this.notTaken(c.autoRange, 'on', 'off')
      this.#scales = this.#all
    } else {
      const index = ranges.findIndex(range => range.rangeV >= rangeV)
      const size = ranges[index]!.rangeV
      await this.setNumber(c.fixRange, formatNumber(size), c.askRange, size * 1e-6, 'V')
      this.#scales = [this.#all[index]!]
    }
    if (c.setBand !== undefined) await this.port.write(c.setBand, checked)
    await this.#seeFunction()
  }

  async readVoltage(): Promise<Measured> {
    const { commands: { read }, readingMs } = this.#alternating
    const tries = this.#scales.length > 1 ? autorangeTries : 1
    const atMs = this.clock.monotonicMs()
    const deadlineMs = Math.ceil(tries * readingMs + this.profile.link.deadlineMs)
    const line = await this.port.query(read, { deadlineMs })
    const size = this.answers.read(read, line, 'V').value
    // An RMS value is not below zero: that is no reading of this function.
    if (size < 0 && Number.isFinite(size)) return { value: size, u: NaN, quality: 'implausible', atMs }
    const scale = this.#scales.find(s => size <= s.highest) ?? this.#scales.at(-1)!
    return this.answers.measured(read, line, atMs, scale, 'over-range')
  }

  async #seeFunction(): Promise<void> {
    const { askFunction, functionAnswer, select, fixRange } = this.#alternating.commands
    if (askFunction === undefined || functionAnswer === undefined) return
    const got = await this.port.query(askFunction)
    if (got.toUpperCase() === functionAnswer.toUpperCase()) return
    throw this.notTaken(select ?? fixRange, functionAnswer, got)
  }
}
