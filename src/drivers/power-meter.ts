/** What a unit takes from its mains: volts, amperes, watts, hertz, of one answer or one after another. */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { Accuracy } from '../schema/profile-parts.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Measured } from '../schema/reading.ts'
import { powerFields, type PowerField } from '../schema/unit-classes.ts'
import type { MainsReading, PowerMeter } from '../schema/unit-roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { Driver } from './driver.ts'
import { Scale } from './scale.ts'

type Profile = ProfileOf<'power-meter'>
type Texts = Readonly<Record<PowerField, { readonly query: string; readonly text: string }>>

interface Range {
  readonly full: number; readonly overRangePct: number; readonly accuracy: Accuracy
  readonly digit: number; readonly noise: number
}
interface Ranged { readonly range: Range; readonly scale: Scale }

/** How many readings an instrument may take to find its ranges. */
const autorangeTries = 4

export class PowerMeterDriver extends Driver<Profile> implements PowerMeter {
  readonly readingMs: number
  readonly #volts: readonly Ranged[]
  readonly #amps: readonly Ranged[]
  readonly #hertz: Scale
  readonly #deadline: { deadlineMs: number }

  constructor(profile: Profile, port: ScpiPort, clock: Clock) {
    super(profile, port, clock)
    const { voltageRanges, currentRanges, frequency: { accuracy, stepHz, maxHz, minHz }, readingMs } = profile
    this.readingMs = readingMs
    this.#volts = voltageRanges.map(({ rangeV, stepV, noiseV, ...rest }) =>
      ranged({ ...rest, full: rangeV, digit: stepV, noise: noiseV }, 'V'))
    this.#amps = currentRanges.map(({ rangeA, stepA, noiseA, ...rest }) =>
      ranged({ ...rest, full: rangeA, digit: stepA, noise: noiseA }, 'A'))
    this.#hertz = new Scale({
      unit: 'Hz', accuracy, range: maxHz, digit: stepHz, lowest: minHz, highest: maxHz,
    })
    this.#deadline = { deadlineMs: Math.ceil(autorangeTries * readingMs + profile.link.deadlineMs) }
  }

  async readPower(): Promise<MainsReading> {
    const atMs = this.clock.monotonicMs()
    const texts = await this.#ask()
    const volts = this.#rangeOf(texts, 'voltage', 'V', this.#volts)
    const amps = this.#rangeOf(texts, 'current', 'A', this.#amps)
    const of = ({ query, text }: Texts[PowerField], scale: Scale): Measured =>
      this.answers.measured(query, text, atMs, scale, 'over-range')
    const current = of(texts.current, amps.scale)
    const voltage = of(texts.voltage, volts.scale)
    const power = of(texts.power, this.#powerScale(volts.range, amps.range))
    return {
      voltage: notBelowZero(voltage), current: notBelowZero(current),
      // Volts or amperes beyond their range leave nothing of the watts.
      power: [voltage, current].some(one => one.quality === 'over-range' && power.quality === 'good')
        ? { ...power, value: Infinity, u: NaN, quality: 'over-range' } : power,
      // Without mains there is nothing to count; what it says then is no frequency.
      frequencyHz: this.answers.measured(texts.frequency.query, texts.frequency.text, atMs, this.#hertz),
    }
  }

  async #ask(): Promise<Texts> {
    const { commands: c, fields } = this.profile
    if (c.measure === undefined || fields === undefined) {
      const ask = async (query: string) => ({ query, text: await this.port.query(query, this.#deadline) })
      return {
        voltage: await ask(c.askVoltage!), current: await ask(c.askCurrent!),
        power: await ask(c.askPower!), frequency: await ask(c.askFrequency!),
      }
    }
    const query = c.measure
    const line = await this.port.query(query, this.#deadline)
    const parts = line.split(',')
    if (parts.length !== fields.length) {
      throw new BenchError('ANSWER_FORM', 'not a measurement', {
        instrument: this.name, command: query, got: line.slice(0, 80),
        expected: `${fields.length} fields (${fields.join(', ')})`,
      })
    }
    const textOf = (field: PowerField) => ({ query, text: parts[fields.indexOf(field)]!.trim() })
    return Object.fromEntries(powerFields.map(field => [field, textOf(field)])) as unknown as Texts
  }

  /** It ranges by itself: in the smallest range that holds the value. */
  #rangeOf(texts: Texts, field: PowerField, unit: string, ranges: readonly Ranged[]): Ranged {
    const { query, text } = texts[field]
    const size = Math.abs(this.answers.read(query, text, unit).value)
    return ranges.find(({ scale }) => size <= scale.highest) ?? ranges.at(-1)!
  }

  #powerScale(volts: Range, amps: Range): Scale {
    const { accuracy, stepShare, noiseShare } = this.profile.power
    const range = volts.full * amps.full
    const most = range * (1 + volts.overRangePct / 100) * (1 + amps.overRangePct / 100)
    return new Scale({
      unit: 'W', accuracy, range, digit: range * stepShare, noise: range * noiseShare,
      lowest: -most, highest: most,
    })
  }
}

function ranged(range: Range, unit: 'V' | 'A'): Ranged {
  const { full, overRangePct, accuracy, digit, noise } = range
  const highest = full * (1 + overRangePct / 100) + digit
  return { range, scale: new Scale({ unit, accuracy, range: full, digit, noise, lowest: -highest, highest }) }
}

/** An RMS value below zero by more than its error is none. */
function notBelowZero(measured: Measured): Measured {
  const isNone = measured.quality === 'good' && measured.value < -4 * measured.u
  return isNone ? { ...measured, quality: 'implausible' } : measured
}
