/**
 * A signal generator. Levels are rounded down to its steps and every setting is read back; whatever falls is
 * set before what rises, so that no mixture of old and new drives the unit harder than either.
 */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Energising, SafeOffStep } from '../schema/roles.ts'
import type { DriveTone, Generator, OwnFigures } from '../schema/unit-roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { formatNumber } from '../scpi/values.ts'
import { refuseUnknown } from './answers.ts'
import { checked, Driver } from './driver.ts'
import { fill, stepOf, type Step } from './format.ts'
import { safeOffOf } from './safe-off.ts'

type Profile = ProfileOf<'signal-generator'>
type Lines = Profile['tones'][number]

/** How many of its volts make one volt RMS of a sine. */
const perRms = { rms: 1, peak: Math.SQRT2, 'peak-to-peak': 2 * Math.SQRT2 } as const

export class GeneratorDriver extends Driver<Profile> implements Generator {
  readonly channels: readonly number[]
  readonly sourceOhm: number
  readonly levelMaxV: number
  readonly frequencyMinHz: number
  readonly frequencyMaxHz: number
  readonly frequencyStepHz: number
  readonly tonesMost: 1 | 2
  readonly sharesClock: boolean
  readonly own: OwnFigures
  readonly settleMs: number
  readonly safeOff: SafeOffStep
  readonly energising: readonly Energising[]
  readonly #levelStep: Step
  readonly #frequencyStep: Step
  /** That an answer may carry. */
  readonly #levelUnit: string

  constructor(profile: Profile, port: ScpiPort, clock: Clock) {
    super(profile, port, clock)
    const { channels, frequency, level, tones, own, reference } = profile
    this.channels = channels
    this.sourceOhm = profile.sourceOhm
    this.levelMaxV = level.maxV
    this.frequencyMinHz = frequency.minHz
    this.frequencyMaxHz = frequency.maxHz
    this.frequencyStepHz = frequency.stepHz
    this.tonesMost = tones.length === 1 ? 1 : 2
    this.sharesClock = reference !== undefined
    this.own = {
      thdMost: own.distortionPct / 100, noiseVPerRootHz: own.noiseVPerRootHz,
      clockU: reference === undefined ? own.clockPpm / 1e6 / Math.sqrt(3) : 0,
    }
    this.settleMs = profile.settleMs
    this.safeOff = safeOffOf(profile.safeOff)
    this.energising = energisingOf(profile)
    this.#levelStep = stepOf(level.stepV)
    this.#levelUnit = level.unit === 'peak-to-peak' ? 'Vpp' : 'V'
    this.#frequencyStep = stepOf(frequency.stepHz)
  }

  levelU(levelV: number): number {
    const { accuracy: { readingPct, rangePct, counts }, maxV, stepV, unit } = this.profile.level
    const stepRmsV = stepV / perRms[unit]
    const limitV = readingPct / 100 * levelV + rangePct / 100 * maxV + counts * stepRmsV
    // Down to the step: on average half of it is missing, at most the whole.
    return Math.hypot(limitV, stepRmsV) / Math.sqrt(3)
  }

  override async prepare(): Promise<void> {
    await super.prepare()
    await this.muteAll()
    const { reference } = this.profile
    if (reference === undefined) return
    await this.port.write(reference.choose, checked)
    const got = await this.port.query(reference.ask)
    if (got.toUpperCase() === reference.answer.toUpperCase()) return
    throw this.notTaken(reference.choose, `in step with the digitizer (${reference.answer})`, got)
  }

  async setTones(channel: number, tones: readonly DriveTone[]): Promise<void> {
    this.#refuse(channel, tones)
    const slots = this.profile.tones.map((lines, i) => ({ lines, tone: tones[i] }))
    const rising: typeof slots = []
    for (const slot of slots) {
      const { lines, tone } = slot
      if (await this.#falls(channel, lines, tone)) await this.#setLevel(channel, lines, tone)
      else rising.push(slot)
    }
    for (const { lines, tone } of slots) if (tone) await this.#setFrequency(channel, lines, tone)
    for (const { lines, tone } of rising) await this.#setLevel(channel, lines, tone)
  }

  async setOutput(channel: number, on: boolean): Promise<void> {
    refuseUnknown(this.name, this.channels, channel)
    const { setOutput, askOutput } = this.profile.commands
    const at = { channel: String(channel) }
    await this.setSwitch(named(setOutput, at), on, fill(askOutput, at))
  }

  async muteAll(): Promise<void> {
    const { muteAll, askOutput } = this.profile.commands
    await this.port.write(muteAll, checked)
    for (const channel of this.channels) {
      const isOn = await this.askSwitch(fill(askOutput, { channel: String(channel) }))
      if (isOn) throw this.notTaken(muteAll, `channel ${channel} muted`, 'on')
    }
  }

  #refuse(channel: number, tones: readonly DriveTone[]): void {
    refuseUnknown(this.name, this.channels, channel)
    if (tones.length < 1 || tones.length > this.tonesMost) {
      throw new BenchError('OUT_OF_RANGE', 'sines at once', {
        instrument: this.name, expected: this.tonesMost === 1 ? '1' : '1 or 2', got: String(tones.length),
      })
    }
    const { frequency, level } = this.profile
    for (const { frequencyHz, levelV } of tones) {
      this.inRange('frequency', frequencyHz, frequency.minHz, frequency.maxHz, 'Hz')
      this.inRange('level', levelV, level.minV, level.maxV, 'V')
      // Less than one step would be rounded down to no signal at all.
      const stepRmsV = level.stepV / perRms[level.unit]
      if (levelV > 0) this.inRange('level', levelV, stepRmsV, level.maxV, 'V')
    }
    // Their peaks meet.
    const sumV = tones.reduce((sum, tone) => sum + tone.levelV, 0)
    this.inRange('level of both', sumV, level.minV, level.maxV, 'V')
  }

  /** Whether what this slot gives must become less, or nothing. One that is out can only rise. */
  async #falls(channel: number, lines: Lines, tone: DriveTone | undefined): Promise<boolean> {
    if (!tone) return true
    const at = { channel: String(channel) }
    if (lines.askEnabled && !await this.askSwitch(fill(lines.askEnabled, at))) return false
    const standing = await this.askNumber(fill(lines.askLevel, at), this.#levelUnit)
    return this.#levelOf(tone) <= standing
  }

  async #setLevel(channel: number, lines: Lines, tone: DriveTone | undefined): Promise<void> {
    const at = { channel: String(channel) }
    const { enable, askEnabled } = lines
    if (!tone && enable && askEnabled) return this.setSwitch(named(enable, at), false, fill(askEnabled, at))
    const { stepV } = this.profile.level
    const text = this.#levelStep.text(tone ? this.#levelOf(tone) : 0)
    await this.setNumber(named(lines.setLevel, at), text, fill(lines.askLevel, at), stepV, this.#levelUnit)
    if (enable && askEnabled) await this.setSwitch(named(enable, at), true, fill(askEnabled, at))
  }

  async #setFrequency(channel: number, lines: Lines, { frequencyHz }: DriveTone): Promise<void> {
    const at = { channel: String(channel) }
    const { stepHz } = this.profile.frequency
    const nearestHz = Math.round(frequencyHz / stepHz) * stepHz
    const text = formatNumber(Number(this.#frequencyStep.text(nearestHz)))
    await this.setNumber(named(lines.setFrequency, at), text, fill(lines.askFrequency, at), stepHz / 2, 'Hz')
  }

  /** In the unit of its commands, never more than asked for. */
  #levelOf({ levelV }: DriveTone): number {
    return this.#levelStep.floor(levelV * perRms[this.profile.level.unit])
  }
}

/** `template` with its channel filled in; what else stands in braces stays. */
const named = (template: string, { channel }: { channel: string }): string =>
  template.replace('{channel}', channel)

/** Every line that lets a channel out. Channels may share the beginning of theirs. */
function energisingOf({ channels, commands: { setOutput }, booleans: { off } }: Profile): Energising[] {
  const found = new Map<string, string[]>()
  for (const channel of channels) {
    const line = named(setOutput, { channel: String(channel) })
    const begins = line.split('{', 1)[0]!
    found.set(begins, [...found.get(begins) ?? [], fill(line, { on: off })])
  }
  return [...found].map(([begins, but]) => ({ begins, but }))
}
