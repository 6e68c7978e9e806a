/** What a multimeter does alike in each of its functions: ranges, speeds, and the accuracy of the range. */
import type { Clock } from '../base/clock.ts'
import type { Accuracy } from '../schema/profile-parts.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Measured } from '../schema/reading.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { formatNumber } from '../scpi/values.ts'
import { checked, Driver } from './driver.ts'
import { Scale } from './scale.ts'

type Profile = ProfileOf<'multimeter'>
type Speed = Profile['speeds'][number]
type FunctionCommands = Omit<Profile['commands'], 'read'>

/** One range of a function; `size` in the unit of the function. */
export interface MeterRange {
  readonly size: number; readonly overRangePct: number; readonly accuracy: Accuracy
}

export interface MeterSetup { readonly size: number | 'auto'; readonly nplc: number }

/** How many readings an instrument may take to find its range. */
const autorangeTries = 4

export abstract class MeterDriver extends Driver<Profile> {
  protected readonly ranges: readonly MeterRange[]
  readonly #unit: 'V' | 'Ohm'
  #speed: Speed
  /** Of the one range that is set, or of all of them while it ranges by itself. */
  #scales: readonly Scale[] = []
  #deadline = { deadlineMs: 0 }

  constructor(
    profile: Profile, port: ScpiPort, clock: Clock, unit: 'V' | 'Ohm', ranges: readonly MeterRange[],
  ) {
    super(profile, port, clock)
    this.#unit = unit
    this.ranges = ranges
    this.#speed = profile.speeds[0]!
    this.#adopt(ranges, this.#speedFor(1))
  }

  get readingMs(): number {
    const { conversions, mainsHz, overheadMs } = this.profile
    return conversions * this.#speed.nplc * 1000 / mainsHz + overheadMs
  }

  /** Throws OUT_OF_RANGE for what no range or speed holds. */
  protected refuse({ size, nplc }: MeterSetup): void {
    this.inRange('integration', nplc, Number.MIN_VALUE, this.profile.speeds.at(-1)!.nplc, 'mains cycles')
    if (size !== 'auto') this.inRange('range', size, 0, this.ranges.at(-1)!.size, this.#unit)
  }

  /** Index of the smallest range that holds `size`. */
  protected rangeFor(size: number): number { return this.ranges.findIndex(range => range.size >= size) }

  /** Sets a function that is refused already where it cannot; resolves with the ranges now in use. */
  protected async setUp(c: FunctionCommands, { size, nplc }: MeterSetup): Promise<readonly MeterRange[]> {
    const speed = this.#speedFor(nplc)
    if (size === 'auto') {
      await this.port.write(c.autoRange, checked)
      const isAuto = c.askAutoRange === undefined || await this.askSwitch(c.askAutoRange)
      if (!isAuto) throw this.notTaken(c.autoRange, 'on', 'off')
      await this.#setIntegration(c, speed)
      return this.#adopt(this.ranges, speed)
    }
    const range = this.ranges[this.rangeFor(size)]!
    await this.setNumber(c.fixRange, formatNumber(range.size), c.askRange, range.size * 1e-6, this.#unit)
    await this.#setIntegration(c, speed)
    return this.#adopt([range], speed)
  }

  protected async reading(query: string): Promise<Measured> {
    const atMs = this.clock.monotonicMs()
    const line = await this.port.query(query, this.#deadline)
    const scales = this.#scales
    if (scales.length === 1) return this.answers.measured(query, line, atMs, scales[0]!, 'over-range')
    // Ranging by itself it uses the smallest range that holds the value; its accuracy is that range's.
    const size = Math.abs(this.answers.read(query, line, this.#unit).value)
    const scale = scales.find(s => size <= s.highest) ?? scales.at(-1)!
    return this.answers.measured(query, line, atMs, scale, 'over-range')
  }

  async #setIntegration(c: FunctionCommands, { nplc }: Speed): Promise<void> {
    await this.setNumber(
      c.setIntegration, formatNumber(nplc), c.askIntegration, nplc * 1e-6, 'mains cycles')
  }

  #speedFor(nplc: number): Speed {
    const { speeds } = this.profile
    return speeds.find(speed => speed.nplc >= nplc) ?? speeds.at(-1)!
  }

  #adopt(ranges: readonly MeterRange[], speed: Speed): readonly MeterRange[] {
    this.#speed = speed
    this.#scales = ranges.map(({ size, overRangePct, accuracy }) => {
      const digit = size * speed.resolution
      const full = size * (1 + overRangePct / 100) + digit
      return new Scale({
        unit: this.#unit, accuracy, range: size, digit, noise: size * speed.noise,
        lowest: -full, highest: full,
      })
    })
    const readings = ranges.length > 1 ? autorangeTries : 1
    this.#deadline = { deadlineMs: Math.ceil(readings * this.readingMs + this.profile.link.deadlineMs) }
    return ranges
  }
}
