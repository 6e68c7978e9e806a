/** A DC supply. Settings are rounded down to its steps, never up, and every one is read back. */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { Measured } from '../schema/reading.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Energising, SafeOffStep, Supply, SupplySettings } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { Driver } from './driver.ts'
import { beginningOf, fill, stepOf, type Step } from './format.ts'
import { safeOffOf } from './safe-off.ts'
import { Scale } from './scale.ts'

type Profile = ProfileOf<'dc-supply'>
type Protection = Awaited<ReturnType<Supply['protect']>>
type Trip = 'none' | 'over-voltage' | 'over-current' | 'other'

/** Meanings of status bits that are trips, in the order in which they are told. */
const trips: readonly [string, Trip][] = [
  ['over-voltage', 'over-voltage'], ['over-current', 'over-current'],
  ['over-temperature', 'other'], ['watchdog', 'other'], ['other-trip', 'other'],
]

export class SupplyDriver extends Driver<Profile> implements Supply {
  readonly ratings: Supply['ratings']
  readonly safeOff: SafeOffStep
  readonly watchdogS: Supply['watchdogS']
  readonly energising: readonly Energising[]
  readonly #voltage: Step
  readonly #current: Step
  readonly #voltageScale: Scale
  readonly #currentScale: Scale

  constructor(profile: Profile, port: ScpiPort, clock: Clock) {
    super(profile, port, clock)
    const { voltageMaxV, currentMaxA, voltageStepV, currentStepA, outputCapacitanceF } = profile
    this.ratings = {
      voltageMaxV, currentMaxA, voltageStepV, currentStepA, outputCapacitanceF,
      currentErrorA: currentErrorA(profile),
    }
    const { commands: { setOutput }, booleans: { off }, watchdog } = profile
    this.watchdogS = watchdog ? { min: watchdog.minS, max: watchdog.maxS } : null
    this.safeOff = safeOffOf(profile.safeOff, watchdog ? [fill(watchdog.arm, { on: off })] : [])
    const offLines = [off, '0', 'OFF'].map(word => fill(setOutput, { on: word }))
    this.energising = [{ begins: beginningOf(setOutput), but: offLines }]
    this.#voltage = stepOf(voltageStepV)
    this.#current = stepOf(currentStepA)
    // A supply that cannot sink still reads a little below zero; charged parts may hold its terminals up to
    // its rating.
    const { overVoltageV } = profile.protection
    this.#voltageScale = scaleOf('V', profile, overVoltageV.max)
    this.#currentScale = scaleOf('A', profile, currentMaxA)
  }

  async setVoltage(voltageV: number): Promise<void> {
    this.inRange('voltage', voltageV, 0, this.profile.voltageMaxV, 'V')
    const { setVoltage, askVoltage } = this.profile.commands
    const text = this.#voltage.text(this.#voltage.floor(voltageV))
    await this.setNumber(setVoltage, text, askVoltage, this.profile.voltageStepV, 'V')
  }

  async setCurrentLimit(currentA: number): Promise<void> {
    this.inRange('current limit', currentA, 0, this.profile.currentMaxA, 'A')
    const { setCurrent, askCurrent } = this.profile.commands
    const text = this.#current.text(this.#current.floor(currentA))
    await this.setNumber(setCurrent, text, askCurrent, this.profile.currentStepA, 'A')
  }

  async setOutput(on: boolean): Promise<void> {
    await this.setSwitch(this.profile.commands.setOutput, on, this.profile.commands.askOutput)
  }

  async settings(): Promise<SupplySettings> {
    const { askVoltage, askCurrent, askOutput } = this.profile.commands
    const voltageV = await this.askNumber(askVoltage)
    const currentLimitA = await this.askNumber(askCurrent)
    return { voltageV, currentLimitA, on: await this.askSwitch(askOutput) }
  }

  async readVoltage(): Promise<Measured> {
    const atMs = this.clock.monotonicMs()
    const query = this.profile.commands.measureVoltage
    return this.answers.measured(query, await this.port.query(query), atMs, this.#voltageScale)
  }

  async readCurrent(): Promise<Measured> {
    const atMs = this.clock.monotonicMs()
    const query = this.profile.commands.measureCurrent
    return this.answers.measured(query, await this.port.query(query), atMs, this.#currentScale)
  }

  async protect(overVoltageV: number, overCurrentA: number): Promise<Protection> {
    const { commands: c, protection: { overVoltageV: volts, overCurrentA: amperes } } = this.profile
    this.inRange('over-voltage protection', overVoltageV, volts.min, volts.max, 'V')
    this.inRange('over-current protection', overCurrentA, amperes.min, amperes.max, 'A')
    await this.setOutput(false)
    const set = (command: string, ask: string, value: number, size: number, unit: string) => {
      const step = stepOf(size)
      return this.setNumber(command, step.text(step.floor(value)), ask, size, unit)
    }
    const tookV = await set(c.setOverVoltage, c.askOverVoltage, overVoltageV, volts.step, 'V')
    const tookA = await set(c.setOverCurrent, c.askOverCurrent, overCurrentA, amperes.step, 'A')
    const enables = [[c.enableOverVoltage, c.askOverVoltageOn], [c.enableOverCurrent, c.askOverCurrentOn]]
    for (const [enable, ask] of enables) if (enable && ask) await this.setSwitch(enable, true, ask)
    return { overVoltageV: tookV, overCurrentA: tookA }
  }

  async protectionTripped(): Promise<Trip> {
    const { commands: c, status } = this.profile
    if (c.askOverVoltageTripped && await this.askSwitch(c.askOverVoltageTripped)) return 'over-voltage'
    if (c.askOverCurrentTripped && await this.askSwitch(c.askOverCurrentTripped)) return 'over-current'
    if (!status) return 'none'
    const word = await this.askNumber(status.query)
    const isSet = (meaning: string): boolean =>
      Object.entries(status.bits).some(([bit, name]) => name === meaning && ((word >> Number(bit)) & 1) === 1)
    return trips.find(([meaning]) => isSet(meaning))?.[1] ?? 'none'
  }

  /** The order matters: on some supplies clearing puts the output back to what it was before the trip. */
  async clearProtection(): Promise<void> {
    await this.setOutput(false)
    for (const command of this.profile.commands.clearProtection) {
      await this.port.write(command, { check: true })
      if (!await this.askSwitch(this.profile.commands.askOutput)) continue
      // A source that came on by itself is switched off before anything is said about it.
      await this.setOutput(false)
      throw this.notTaken(command, 'the output to stay off', 'on')
    }
    const trip = await this.protectionTripped()
    if (trip !== 'none') throw this.notTaken(this.profile.commands.clearProtection.at(-1)!, 'no trip', trip)
  }

  async armWatchdog(seconds: number): Promise<number> {
    const watchdog = this.#watchdog()
    const wholeS = Math.ceil(seconds)
    this.inRange('communication watchdog', wholeS, watchdog.minS, watchdog.maxS, 's')
    await this.setNumber(watchdog.setSeconds, String(wholeS), watchdog.askSeconds, 0, 's')
    await this.setSwitch(watchdog.arm, true, watchdog.askArmed)
    return wholeS
  }

  async disarmWatchdog(): Promise<void> {
    const watchdog = this.#watchdog()
    await this.setSwitch(watchdog.arm, false, watchdog.askArmed)
  }

  #watchdog(): NonNullable<Profile['watchdog']> {
    const { watchdog, profile } = this.profile
    if (watchdog) return watchdog
    throw new BenchError('OUT_OF_RANGE', 'communication watchdog', {
      instrument: this.name, expected: 'a supply that has one', got: `${profile}, which has none`,
    })
  }
}

/** `most`: the most that its terminals can show, apart from error. */
function scaleOf(unit: 'V' | 'A', profile: Profile, most: number): Scale {
  const p = profile
  const spec = unit === 'V'
    ? { unit, accuracy: p.readAccuracyVoltage, range: p.voltageMaxV, digit: p.readStepV, noise: p.readNoiseV }
    : { unit, accuracy: p.readAccuracyCurrent, range: p.currentMaxA, digit: p.readStepA, noise: p.readNoiseA }
  const { rangePct, counts } = spec.accuracy
  const zeroError = rangePct / 100 * spec.range + (counts + 1) * spec.digit + 4 * spec.noise
  return new Scale({ ...spec, lowest: p.canSink ? -1.1 * most : -3 * zeroError, highest: 1.1 * most })
}

/** What its limit and its reading share of their range, a step, and three times the noise. */
function currentErrorA(
  { currentMaxA, currentStepA, setAccuracyCurrent, readAccuracyCurrent, readNoiseA }: ProfileOf<'dc-supply'>,
): number {
  const pct = (setAccuracyCurrent.rangePct ?? 0) + (readAccuracyCurrent.rangePct ?? 0)
  return currentMaxA * pct / 100 + currentStepA + 3 * (readNoiseA ?? 0)
}
