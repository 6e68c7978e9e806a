/** A source-measure unit. Settings are rounded towards zero to its steps, and every one is read back. */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { Accuracy } from '../schema/profile-parts.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Measured } from '../schema/reading.ts'
import type { Energising, SafeOffStep, Source, SourceReading } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { formatNumber } from '../scpi/values.ts'
import { checked, Driver } from './driver.ts'
import { beginningOf, fill, stepOf } from './format.ts'
import { safeOffOf } from './safe-off.ts'
import { Scale } from './scale.ts'

type Profile = ProfileOf<'source-measure'>
type Commands = Profile['commands']
type Quantity = 'voltage' | 'current'

/** `value` of the quantity that is forced, `limit` of the other one. */
interface Forced { readonly quantity: Quantity; readonly value: number; readonly limit: number }

interface Range {
  readonly full: number; readonly overRangePct: number; readonly step: number
  readonly readAccuracy: Accuracy; readonly readStep: number; readonly noise: number
}

const units = { voltage: 'V', current: 'A' } as const
const otherOf = { voltage: 'current', current: 'voltage' } as const

/** How many conversions an instrument may take to find its ranges. */
const autorangeTries = 4

export class SourceDriver extends Driver<Profile> implements Source {
  readonly ratings: Source['ratings']
  readonly wires: readonly (2 | 4)[]
  readonly settleMs: number
  readonly safeOff: SafeOffStep
  readonly energising: readonly Energising[]
  readonly #ranges: Readonly<Record<Quantity, readonly Range[]>>
  #scales: Readonly<Record<Quantity, readonly Scale[]>>
  #nplc = 1

  constructor(profile: Profile, port: ScpiPort, clock: Clock) {
    super(profile, port, clock)
    this.#ranges = rangesOf(profile)
    const { voltage, current } = this.#ranges
    this.ratings = {
      voltageMaxV: voltage.at(-1)!.full, voltageStepV: voltage[0]!.step,
      currentMaxA: current.at(-1)!.full, currentStepA: current[0]!.step,
      ...profile.interlockOpenV === undefined ? {} : { interlockOpenV: profile.interlockOpenV },
    }
    const { commands: { setOutput, setFourWire }, booleans: { off }, settleMs } = profile
    this.wires = setFourWire === undefined ? [2] : [2, 4]
    this.settleMs = settleMs
    this.safeOff = safeOffOf(profile.safeOff)
    const offLines = [off, '0', 'OFF'].map(word => fill(setOutput, { on: word }))
    this.energising = [{ begins: beginningOf(setOutput), but: offLines }]
    this.#scales = this.#scalesAt(this.#nplc)
  }

  get readingMs(): number {
    // Volts and amperes are converted one after the other.
    return 2 * this.#nplc * 1000 / this.profile.mainsHz + this.profile.overheadMs
  }

  override async prepare(): Promise<void> {
    await super.prepare()
    await this.configure({ wires: 2, nplc: 1 })
  }

  async configure({ wires, nplc }: { wires: 2 | 4; nplc: number }): Promise<void> {
    if (!this.wires.includes(wires)) {
      throw new BenchError('OUT_OF_RANGE', 'wires', {
        instrument: this.name, expected: this.wires.join(' or '), got: String(wires),
      })
    }
    const { integrations, commands: c } = this.profile
    this.inRange('integration', nplc, Number.MIN_VALUE, integrations.at(-1)!, 'mains cycles')
    const taken = integrations.find(cycles => cycles >= nplc)!
    if (c.setFourWire && c.askFourWire) await this.setSwitch(c.setFourWire, wires === 4, c.askFourWire)
    const text = formatNumber(taken)
    await this.setNumber(c.setIntegration, text, c.askIntegration, taken * 1e-6, 'mains cycles')
    this.#nplc = taken
    this.#scales = this.#scalesAt(taken)
  }

  forceVoltage(voltageV: number, limitA: number): Promise<void> {
    return this.#force({ quantity: 'voltage', value: voltageV, limit: limitA })
  }

  forceCurrent(currentA: number, limitV: number): Promise<void> {
    return this.#force({ quantity: 'current', value: currentA, limit: limitV })
  }

  async setOutput(on: boolean): Promise<void> {
    await this.setSwitch(this.profile.commands.setOutput, on, this.profile.commands.askOutput)
  }

  async measure(): Promise<SourceReading> {
    const { commands: { measure }, answer: { fields }, link } = this.profile
    const atMs = this.clock.monotonicMs()
    const deadlineMs = Math.ceil(autorangeTries * this.readingMs + link.deadlineMs)
    const line = await this.port.query(measure, { deadlineMs })
    const parts = line.split(',')
    if (parts.length !== fields.length) {
      throw new BenchError('ANSWER_FORM', 'not a measurement', {
        instrument: this.name, command: measure, got: line,
        expected: `${fields.length} fields (${fields.join(', ')})`,
      })
    }
    const textOf = (field: typeof fields[number]): string => parts[fields.indexOf(field)]!.trim()
    return {
      voltage: this.#measured('voltage', textOf('voltage'), atMs),
      current: this.#measured('current', textOf('current'), atMs),
      limited: await this.#isLimited(fields.includes('status') ? textOf('status') : undefined),
    }
  }

  async #force(wanted: Forced): Promise<void> {
    this.#refuse(wanted)
    // Asked each time: after a safe-off or a power failure it is not what it was told last.
    if (await this.#askForced() !== wanted.quantity) return this.#change(wanted)
    const other = otherOf[wanted.quantity]
    const standing = await this.askNumber(limitOf(this.profile.commands, other).ask, units[other])
    // The smaller limit comes first and the greater one last: the old value never has the greater limit, and
    // neither has the new value one above its own.
    if (wanted.limit < standing) await this.#setLimit(wanted)
    await this.#setValue(wanted)
    if (wanted.limit >= standing) await this.#setLimit(wanted)
  }

  #refuse({ quantity, value, limit }: Forced): void {
    const { limitMinV, limitMinA } = this.profile
    const most = this.#ranges[quantity].at(-1)!.full
    const other = otherOf[quantity]
    this.inRange(quantity, value, -most, most, units[quantity])
    const least = other === 'voltage' ? limitMinV : limitMinA
    this.inRange(`${other} limit`, limit, least, this.#ranges[other].at(-1)!.full, units[other])
  }

  /** From volts to amperes or back: with the output off, since in between it has settings of the past. */
  async #change(wanted: Forced): Promise<void> {
    const { forceVoltage, forceCurrent, askForced, askOutput } = this.profile.commands
    const wasOn = await this.askSwitch(askOutput)
    if (wasOn) await this.setOutput(false)
    const command = wanted.quantity === 'voltage' ? forceVoltage : forceCurrent
    await this.port.write(command, checked)
    const took = await this.#askForced()
    if (took !== wanted.quantity) throw this.notTaken(command, wanted.quantity, `${took} (${askForced})`)
    await this.#setLimit(wanted)
    await this.#setValue(wanted)
    if (wasOn) await this.setOutput(true)
  }

  #setLimit({ quantity, limit }: Forced): Promise<number> {
    const other = otherOf[quantity]
    return this.#set(limitOf(this.profile.commands, other), other, limit)
  }

  #setValue({ quantity, value }: Forced): Promise<number> {
    return this.#set(this.profile.commands[quantity], quantity, value)
  }

  #set({ set, ask }: { set: string; ask: string }, quantity: Quantity, value: number): Promise<number> {
    const size = Math.abs(value)
    const range = this.#ranges[quantity].find(({ full }) => size <= full)!
    const step = stepOf(range.step)
    const towardsZero = Math.sign(value) * step.floor(size) + 0
    return this.setNumber(set, step.text(towardsZero), ask, range.step, units[quantity])
  }

  async #askForced(): Promise<Quantity> {
    const { askForced, answerVoltage, answerCurrent } = this.profile.commands
    const got = (await this.port.query(askForced)).toUpperCase()
    if (got === answerVoltage.toUpperCase()) return 'voltage'
    if (got === answerCurrent.toUpperCase()) return 'current'
    throw new BenchError('ANSWER_FORM', 'the answer makes no sense', {
      instrument: this.name, command: askForced, expected: `${answerVoltage} or ${answerCurrent}`,
      got: got.slice(0, 80),
    })
  }

  #measured(quantity: Quantity, text: string, atMs: number): Measured {
    const query = this.profile.commands.measure
    const scales = this.#scales[quantity]
    const size = Math.abs(this.answers.read(query, text, units[quantity]).value)
    const scale = scales.find(({ highest }) => size <= highest) ?? scales.at(-1)!
    return this.answers.measured(query, text, atMs, scale, 'over-range')
  }

  async #isLimited(status: string | undefined): Promise<boolean> {
    const { answer: { limitedMask }, commands: c } = this.profile
    if (status !== undefined && limitedMask !== undefined) {
      return (this.answers.plainNumber(c.measure, status) & limitedMask) !== 0
    }
    const quantity = await this.#askForced()
    return this.askSwitch(quantity === 'voltage' ? c.askCurrentLimited! : c.askVoltageLimited!)
  }

  #scalesAt(nplc: number): Record<Quantity, Scale[]> {
    const factor = Math.sqrt(this.profile.noiseNplc / nplc)
    const of = (quantity: Quantity): Scale[] => this.#ranges[quantity].map(range => {
      const highest = range.full * (1 + range.overRangePct / 100) + range.readStep
      return new Scale({
        unit: units[quantity], accuracy: range.readAccuracy, range: range.full, digit: range.readStep,
        noise: range.noise * factor, lowest: -highest, highest,
      })
    })
    return { voltage: of('voltage'), current: of('current') }
  }
}

const limitOf = (c: Commands, quantity: Quantity): Commands['voltage'] =>
  quantity === 'voltage' ? c.voltageLimit : c.currentLimit

function rangesOf({ voltageRanges, currentRanges }: Profile): Record<Quantity, Range[]> {
  return {
    voltage: voltageRanges.map(({ rangeV, stepV, readStepV, readNoiseV, ...rest }) =>
      ({ ...rest, full: rangeV, step: stepV, readStep: readStepV, noise: readNoiseV })),
    current: currentRanges.map(({ rangeA, stepA, readStepA, readNoiseA, ...rest }) =>
      ({ ...rest, full: rangeA, step: stepA, readStep: readStepA, noise: readNoiseA })),
  }
}
