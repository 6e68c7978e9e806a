/** A multimeter used as a DC voltmeter. */
import type { Clock } from '../base/clock.ts'
import type { Measured } from '../schema/reading.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Voltmeter } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { checked, Driver } from './driver.ts'
import { formatNumber } from '../scpi/values.ts'
import { Scale } from './scale.ts'

type Profile = ProfileOf<'multimeter'>
type Range = Profile['ranges'][number]
type Speed = Profile['speeds'][number]

/** How many readings an instrument may take to find its range. */
const autorangeTries = 4

export class VoltmeterDriver extends Driver<Profile> implements Voltmeter {
  /** The one range that is set, or all of them while it ranges by itself. */
  #ranges: readonly Range[]
  #speed: Speed
  #scales: readonly Scale[]
  #deadline: { deadlineMs: number }

  constructor(profile: Profile, port: ScpiPort, clock: Clock) {
    super(profile, port, clock)
    this.#ranges = profile.ranges
    this.#speed = profile.speeds[0]!
    this.#scales = []
    this.#deadline = { deadlineMs: 0 }
    this.#adopt(profile.ranges, this.#speedFor(1))
  }

  /** The lowest of the ranges in use: what loads the circuit in the worst case. */
  get inputOhm(): number { return Math.min(...this.#ranges.map(range => range.inputOhm)) }

  get readingMs(): number {
    const { conversions, mainsHz, overheadMs } = this.profile
    return conversions * this.#speed.nplc * 1000 / mainsHz + overheadMs
  }

  override async prepare(): Promise<void> {
    await super.prepare()
    await this.configure({ rangeV: 'auto', nplc: 1 })
  }

  async configure(setup: { rangeV: number | 'auto'; nplc: number }): Promise<void> {
    const { commands: c, ranges, speeds } = this.profile
    const slowest = speeds.at(-1)!.nplc
    this.inRange('integration', setup.nplc, Number.MIN_VALUE, slowest, 'mains cycles')
    const speed = this.#speedFor(setup.nplc)
    if (setup.rangeV === 'auto') {
      await this.port.write(c.autoRange, checked)
      const isAuto = c.askAutoRange === undefined || await this.askSwitch(c.askAutoRange)
      if (!isAuto) throw this.notTaken(c.autoRange, 'on', 'off')
      await this.#setIntegration(speed)
      return this.#adopt(ranges, speed)
    }
    const wantedV = setup.rangeV
    this.inRange('range', wantedV, 0, ranges.at(-1)!.rangeV, 'V')
    const range = ranges.find(r => r.rangeV >= wantedV)!
    await this.setNumber(c.fixRange, formatNumber(range.rangeV), c.askRange, range.rangeV * 1e-6, 'V')
    await this.#setIntegration(speed)
    this.#adopt([range], speed)
  }

  async readVoltage(): Promise<Measured> {
    const atMs = this.clock.monotonicMs()
    const query = this.profile.commands.read
    const line = await this.port.query(query, this.#deadline)
    const scales = this.#scales
    if (scales.length === 1) return this.answers.measured(query, line, atMs, scales[0]!, 'over-range')
    // Ranging by itself it uses the smallest range that holds the value; its accuracy is that range's.
    const size = Math.abs(this.answers.read(query, line, 'V').value)
    const scale = scales.find(s => size <= s.highest) ?? scales.at(-1)!
    return this.answers.measured(query, line, atMs, scale, 'over-range')
  }

  async #setIntegration({ nplc }: Speed): Promise<void> {
    const { setIntegration, askIntegration } = this.profile.commands
    await this.setNumber(setIntegration, formatNumber(nplc), askIntegration, nplc * 1e-6, 'mains cycles')
  }

  #speedFor(nplc: number): Speed {
    const { speeds } = this.profile
    return speeds.find(speed => speed.nplc >= nplc) ?? speeds.at(-1)!
  }

  #adopt(ranges: readonly Range[], speed: Speed): void {
    this.#ranges = ranges
    this.#speed = speed
    this.#scales = ranges.map(range => {
      const fullV = range.rangeV * (1 + range.overRangePct / 100) + range.rangeV * speed.resolution
      return new Scale({
        unit: 'V', accuracy: range.accuracy, range: range.rangeV, digit: range.rangeV * speed.resolution,
        noise: range.rangeV * speed.noise, lowest: -fullV, highest: fullV,
      })
    })
    const readings = ranges.length > 1 ? autorangeTries : 1
    this.#deadline = { deadlineMs: Math.ceil(readings * this.readingMs + this.profile.link.deadlineMs) }
  }
}
