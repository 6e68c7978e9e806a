/** What every signal generator does, in any dialect: sines with errors, harmonics and noise of their own. */
import type { SeededRandom } from '../../src/base/random.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'
import { refuse } from '../scpi-device/status.ts'
import type { SourceTone, UnitWorld } from '../units/world.ts'
import { drawShare, quantise, Specimen, type ErrorModel } from './accuracy.ts'
import type { SignalFigures } from './unit-specifications.ts'

/** One sine of a channel; volts as the commands count them. */
export interface ToneSet { hertz: number; volts: number; enabled: boolean }
interface Harmonic { readonly order: number; readonly share: number; readonly phaseRad: number }
interface Output { readonly tones: ToneSet[]; on: boolean; driven: boolean }

export interface SignalSetup {
  readonly errors?: ErrorModel
  /** Input of the unit, from 0, that each of its channels leads to, in their order; null: to none. */
  readonly wired?: readonly (number | null)[]
  /** Error of the clock at its reference input, as a share; left out where no cable is plugged. */
  readonly reference?: () => number
}

const orders = [2, 3, 4, 5] as const

export class SignalCore {
  readonly figures: SignalFigures
  readonly outputs: readonly Output[]
  /** It has been told to take the clock of its reference input. */
  external = false
  onOutput: (channel: number, on: boolean) => void = () => {}
  readonly #world: Pick<UnitWorld, 'drive'>
  readonly #faults: FaultPanel
  readonly #levels: readonly Specimen[]
  readonly #harmonics: readonly (readonly Harmonic[])[]
  readonly #clock: number
  readonly #reference: (() => number) | undefined
  readonly #wired: readonly (number | null)[]

  constructor(
    figures: SignalFigures, tones: number, world: Pick<UnitWorld, 'drive'>, random: SeededRandom,
    faults: FaultPanel, { errors = 'inside', reference, wired }: SignalSetup,
  ) {
    this.figures = figures
    this.#world = world
    this.#faults = faults
    this.#reference = reference
    this.#wired = wired ?? Array.from({ length: figures.channels }, (_, i) => i)
    this.outputs = Array.from({ length: figures.channels }, () => ({
      on: false, driven: false,
      tones: Array.from({ length: tones }, () => ({ hertz: 1000, volts: 0, enabled: false })),
    }))
    const each = <T>(make: (i: number) => T): T[] => this.outputs.map((_, i) => make(i))
    this.#levels = each(i => new Specimen(figures.level.limits, random.fork(`level-${i}`), errors))
    this.#harmonics = each(i => harmonicsOf(figures.distortion, random.fork(`harmonics-${i}`)))
    this.#clock = figures.clockPpm * 1e-6 * drawShare(errors, random.fork('clock'))
    this.reset()
  }

  /** It runs from its reference input. */
  get inStep(): boolean { return this.external && this.#reference !== undefined }

  reset(): void {
    this.external = false
    this.outputs.forEach((output, i) => {
      output.on = false
      output.tones.forEach((tone, n) =>
        Object.assign(tone, { hertz: 1000, volts: this.#volts(this.figures.level.min), enabled: n === 0 }))
      this.drive(i + 1)
    })
  }

  /** Throws -222 for what is out of range, and for a channel or sine that is not there. */
  setFrequency(channel: number, sine: number, hertz: number): void {
    const { min, max, step } = this.figures.hertz
    if (!(hertz >= min && hertz <= max)) refuse(-222)
    this.tone(channel, sine).hertz = quantise(hertz, step)
    this.drive(channel)
  }

  setLevel(channel: number, sine: number, volts: number): void {
    const { min, max, step } = this.figures.level
    // Its own smallest step less is taken for the least: what it printed itself must be taken back.
    if (!(volts >= this.#volts(min) - step && volts <= this.#volts(max) + step / 2)) refuse(-222)
    this.tone(channel, sine).volts = quantise(volts, step)
    this.drive(channel)
  }

  setEnabled(channel: number, sine: number, enabled: boolean): void {
    this.tone(channel, sine).enabled = enabled
    this.drive(channel)
  }

  setOutput(channel: number, on: boolean): void {
    this.output(channel).on = on
    this.drive(channel)
  }

  muteAll(): void {
    for (let channel = 1; channel <= this.outputs.length; channel++) this.setOutput(channel, false)
  }

  setExternal(external: boolean): void {
    this.external = external
    this.driveAll()
  }

  output(channel: number): Output { return this.outputs[channel - 1] ?? refuse(-222) }
  tone(channel: number, sine: number): ToneSet { return this.output(channel).tones[sine - 1] ?? refuse(-222) }
  /** A setting as read back: what it is, unless the read-back lies. */
  back(value: number): number { return Number(this.#faults.holds('read-back-lies')?.value ?? value) }

  driveAll(): void { this.outputs.forEach((_, i) => this.drive(i + 1)) }

  /** Brings the world to what settings and faults make of this channel. */
  drive(channel: number): void {
    const output = this.output(channel)
    const staysOn = output.driven && this.#faults.holds('output-stays-on') !== undefined
    const isDriven = output.on || staysOn
    const { sourceOhm, noiseVPerRootHz } = this.figures
    const input = this.#wired[channel - 1] ?? null
    const tones = isDriven ? this.#signal(channel) : []
    if (input !== null) this.#world.drive(input, tones, sourceOhm, noiseVPerRootHz)
    if (isDriven === output.driven) return
    output.driven = isDriven
    this.onOutput(channel, isDriven)
  }

  #signal(channel: number): SourceTone[] {
    const factor = Number(this.#faults.holds('output-gain')?.value ?? 1)
    const { perRms, level } = this.figures
    const clock = 1 + (this.inStep ? this.#reference!() : this.#clock)
    const enabled = this.output(channel).tones.filter(tone => tone.enabled && tone.volts > 0)
    return enabled.flatMap(({ hertz, volts }) => {
      const rmsV = this.#levels[channel - 1]!.of(volts / perRms, level.max) * factor
      const frequencyHz = hertz * clock
      const peakV = rmsV * Math.SQRT2
      const own = this.#harmonics[channel - 1]!.map(({ order, share, phaseRad }) =>
        ({ frequencyHz: order * frequencyHz, peakV: share * peakV, phaseRad }))
      return [{ frequencyHz, peakV, phaseRad: 0 }, ...own]
    })
  }

  #volts(rmsV: number): number { return rmsV * this.figures.perRms }
}

/** Together within eight tenths of what is stated, each of them with a part of that. */
function harmonicsOf(most: number, random: SeededRandom): Harmonic[] {
  const parts = orders.map(() => random.uniform(0.2, 1))
  const size = Math.hypot(...parts)
  const total = most * random.uniform(0.3, 0.8)
  return orders.map((order, i) =>
    ({ order, share: total * parts[i]! / size, phaseRad: random.uniform(0, 2 * Math.PI) }))
}
