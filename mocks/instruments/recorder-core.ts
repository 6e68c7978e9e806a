/** What every digitizer does, in any dialect: one record of the channels that are on, with its own errors. */
import type { Cancel, Clock } from '../../src/base/clock.ts'
import type { SeededRandom } from '../../src/base/random.ts'
import type { FaultPanel } from '../scpi-device/faults.ts'
import { refuse } from '../scpi-device/status.ts'
import type { UnitWorld } from '../units/world.ts'
import { drawShare, Specimen, type ErrorModel } from './accuracy.ts'
import type { RecorderFigures } from './unit-specifications.ts'

/** Where a probe hangs: at an output of the unit, or at the source itself; channels of the unit, from 0. */
export interface Heard { readonly at: 'output' | 'input'; readonly channel: number }
export type Ears = Pick<UnitWorld, 'output' | 'input' | 'earthReturn'>

export interface RecorderSetup {
  readonly errors?: ErrorModel
  readonly noiseFactor?: number
  readonly instant?: boolean
  /** By channel, volts at an output for one volt at the input; 1 where left out, and at the source itself. */
  readonly dividers?: readonly number[]
  /** Of the source that is heard by itself: the input takes that share off. */
  readonly sourceOhm?: number
  /** What its channels hang on, in their order; nothing where left out. */
  readonly heard?: readonly (Heard | null)[]
}

interface Channel {
  range: number; enabled: boolean; codes: Int32Array; clipped: boolean; heard: Heard | null
  /** Volts of the record that is under way: they change with what is turned before its end. */
  volts: Float64Array | null
}

export class RecorderCore {
  readonly figures: RecorderFigures
  readonly channels: readonly Channel[]
  state: 'idle' | 'armed' | 'running' | 'done' = 'idle'
  rateHz: number
  samples: number
  /** Error of its clock as a share: what a generator gets that takes it as its reference. */
  readonly clockError: number
  readonly #ears: Ears
  readonly #clock: Clock
  readonly #faults: FaultPanel
  readonly #setup: RecorderSetup
  readonly #noise: SeededRandom
  readonly #specimens: readonly (readonly Specimen[])[]
  /** Of the square and the cube of a sample, as shares of full scale. */
  readonly #bends: readonly { readonly second: number; readonly third: number }[]
  #cancel: Cancel | undefined

  constructor(
    figures: RecorderFigures, ears: Ears, clock: Clock, random: SeededRandom, faults: FaultPanel,
    setup: RecorderSetup,
  ) {
    const { errors = 'inside' } = setup
    this.figures = figures
    this.#ears = ears
    this.#clock = clock
    this.#faults = faults
    this.#setup = setup
    this.#noise = random.fork('noise')
    this.channels = Array.from({ length: figures.channels }, () =>
      ({
        range: figures.ranges.length - 1, enabled: true, codes: new Int32Array(0), clipped: false,
        heard: null, volts: null,
      }))
    setup.heard?.forEach((heard, i) => this.connect(i + 1, heard))
    this.#specimens = this.channels.map((_, c) =>
      figures.ranges.map(({ limits }, r) => new Specimen(limits, random.fork(`range-${c}-${r}`), errors)))
    this.#bends = this.channels.map((_, c) => bendsOf(figures.distortion, random.fork(`bend-${c}`)))
    this.clockError = figures.clockPpm * 1e-6 * drawShare(errors, random.fork('clock'))
    this.rateHz = figures.ratesHz.at(-1)!
    this.samples = 1024
  }

  reset(): void {
    this.abort()
    this.rateHz = this.figures.ratesHz.at(-1)!
    this.samples = 1024
    const range = this.figures.ranges.length - 1
    for (const channel of this.channels) Object.assign(channel, { range, enabled: true })
  }

  /** Hangs a channel somewhere else, or on nothing. An earthed one ties its place to earth. */
  connect(number: number, heard: Heard | null): void {
    const channel = this.channel(number)
    const tie = (place: Heard | null, isEarthed: boolean): void => {
      if (this.figures.earthed && place?.at === 'output') this.#ears.earthReturn(place.channel, isEarthed)
    }
    tie(channel.heard, false)
    channel.heard = heard
    tie(heard, true)
  }

  channel(number: number): Channel { return this.channels[number - 1] ?? refuse(-222) }
  rangeV(number: number): number { return this.figures.ranges[this.channel(number).range]!.rangeV }
  /** Volts of one count of its converter. */
  stepV(number: number): number { return this.rangeV(number) / 2 ** (this.figures.bits - 1) }

  setRange(number: number, rangeV: number): void {
    const index = this.figures.ranges.findIndex(range => range.rangeV >= rangeV * (1 - 1e-9))
    if (index < 0) refuse(-222)
    this.channel(number).range = index
  }

  setRate(hertz: number): void {
    this.rateHz = this.figures.ratesHz.find(rate => Math.abs(rate - hertz) < 1e-6 * rate) ?? refuse(-222)
  }

  setSamples(samples: number): void {
    if (!(samples >= 1 && samples <= this.figures.samplesMost)) refuse(-222)
    this.samples = Math.round(samples)
  }

  abort(): void {
    this.#cancel?.()
    this.#cancel = undefined
    this.state = 'idle'
    for (const channel of this.channels) {
      Object.assign(channel, { codes: new Int32Array(0), clipped: false, volts: null })
    }
  }

  /** Waits for its trigger, if it has one. */
  arm(waits: boolean): void {
    this.abort()
    this.state = 'armed'
    if (!waits) this.trigger()
  }

  trigger(): void {
    if (this.state !== 'armed') refuse(-211)
    if (this.#faults.holds('never-triggers')) return
    this.state = 'running'
    for (const channel of this.channels) if (channel.enabled) this.#listen(channel)
    const { armMs } = this.figures
    if (this.#setup.instant) return this.#finish()
    this.#cancel = this.#clock.after(armMs / 2 + this.samples / this.rateHz * 1000, () => {
      this.#cancel = undefined
      this.#finish()
    })
  }

  #finish(): void {
    this.channels.forEach((channel, i) => { if (channel.volts) this.#code(i + 1, channel, channel.volts) })
    this.state = 'done'
  }

  /** Codes of the record, from -2^(bits-1) on. Throws -230 while there is none, -222 beyond its end. */
  codes(number: number, first: number, count: number): Int32Array {
    const { codes } = this.channel(number)
    if (this.state !== 'done' || codes.length === 0) refuse(-230)
    if (!(first >= 0 && count >= 1 && first + count <= codes.length)) refuse(-222)
    return codes.subarray(first, first + count)
  }

  /** What its place gives from now on. */
  #listen(channel: Channel): void {
    const { heard } = channel
    channel.volts = heard ? this.#ears[heard.at](heard.channel, this.#trueHz, this.samples)
      : new Float64Array(this.samples)
  }

  get #trueHz(): number { return this.rateHz * (1 + this.clockError) }

  /** Volts at the input for one where it is heard. */
  #share(number: number, heard: Heard | null): number {
    const { dividers = [], sourceOhm = 0 } = this.#setup
    const { inputOhm } = this.figures
    return heard?.at === 'input' ? inputOhm / (inputOhm + sourceOhm) : 1 / (dividers[number - 1] ?? 1)
  }

  #code(number: number, channel: Channel, volts: Float64Array): void {
    const { figures } = this
    const trueHz = this.#trueHz
    const share = this.#share(number, channel.heard)
    const { rangeV, noiseVPerRootHz } = figures.ranges[channel.range]!
    const specimen = this.#specimens[number - 1]![channel.range]!
    const { second, third } = this.#bends[number - 1]!
    const sigmaV = noiseVPerRootHz * Math.sqrt(trueHz / 2) * (this.#setup.noiseFactor ?? 1)
    const gain = Number(this.#faults.holds('reading-gain')?.value ?? 1)
    const jumpV = Number(this.#faults.holds('reading-jump')?.value ?? 0)
    const full = 2 ** (figures.bits - 1)
    const codes = new Int32Array(volts.length)
    let clipped = false
    for (let i = 0; i < codes.length; i++) {
      const x = volts[i]! * share / rangeV
      const bent = x + second * x * x + third * x * x * x
      const read = specimen.of(bent * rangeV, rangeV) * gain + jumpV + this.#noise.normal() * sigmaV
      const code = Math.round(read / rangeV * full)
      codes[i] = Math.max(-full, Math.min(full - 1, code))
      clipped ||= code >= full - 1 || code <= -full
    }
    Object.assign(channel, { codes, clipped, volts: null })
  }
}

/** A sine of full range gets second/2 and third/4 of it as harmonics: together within what is stated. */
function bendsOf(most: number, random: SeededRandom): { second: number; third: number } {
  const total = most * random.uniform(0.3, 0.8)
  const angle = random.uniform(0, 2 * Math.PI)
  return { second: 2 * total * Math.cos(angle), third: 4 * total * Math.sin(angle) }
}
