/**
 * A small bench and unit for the tests of `src/proving`: linear corners, then a curve without memory, in closed
 * form; a generator and a digitizer with hidden errors of their own. Shares nothing with what it tests but types.
 */
import { sleep, VirtualClock, type Clock } from '../../src/base/clock.ts'
import { SeededRandom } from '../../src/base/random.ts'
import type { UnitChannel } from '../../src/schema/unit-profile.ts'
import type { Capture, DriveTone } from '../../src/schema/unit-roles.ts'
import type { CaptureOf, ChannelLimits, LoadState, Progress, ProvingPort } from '../../src/proving/port.ts'

export interface UnitTruth {
  /** Volts at its output, unloaded, for one at its input, at middle frequencies. */
  gain: number
  inputOhm: number
  lowHz: number
  highHz: number
  /** Of the open output: y = v + b2·v² + b3·v³, then cut at ± clip. */
  b2: number
  b3: number
  clipV: number
  sourceOhm: number
  noiseVPerRootHz: number
  hum: readonly { order: number; rmsV: number; phase: number }[]
  dcV: number
  /** Share of the other channel's output. */
  leak: number
  /** After it was cut, mean volts that go with this time constant. */
  shiftV: number
  shiftS: number
  /** In place of the corners, gain over frequency. */
  shape?: (hz: number) => number
}

export const soundUnit: UnitTruth = {
  gain: 20, inputOhm: 47_000, lowHz: 5, highHz: 60_000, b2: 2e-5, b3: 4e-6, clipV: 24, sourceOhm: 0.1,
  noiseVPerRootHz: 1e-6, hum: [{ order: 1, rmsV: 60e-6, phase: 0.3 }, { order: 2, rmsV: 150e-6, phase: 1 }],
  dcV: 6e-3, leak: 5e-4, shiftV: 0, shiftS: 0.01,
}

export interface BenchTruth {
  sourceOhm: number
  levelError: (channel: number, hz: number) => number
  /** Shares of the generator's own harmonics, from order 2, and their phases. */
  own: readonly { share: number; phase: number }[]
  sourceNoise: number
  gainU: number
  gainError: (channel: number, range: number) => number
  offsetU: number
  offsetError: (channel: number, range: number) => number
  /** Of the range, per root hertz. */
  digitizerNoise: number
  /** Of its own second harmonic, at full range. */
  digitizerOwn: number
  clockShare: number
  sharesClock: boolean
  mainsHz: number
  loadError: (channel: number) => number
  loadU: number
  benchLeak: number
  lead: { true: number; value: number; u: number }
}

export const goodBench: BenchTruth = {
  sourceOhm: 600, levelError: () => 0, own: [], sourceNoise: 0, gainU: 1e-3, gainError: () => 0, offsetU: 1e-5,
  offsetError: () => 0, digitizerNoise: 1e-8, digitizerOwn: 0, clockShare: 0, sharesClock: true, mainsHz: 50.03,
  loadError: () => 0, loadU: 2e-3, benchLeak: 0, lead: { true: 0, value: 0, u: 1e-4 },
}

export const channelOf = (name: string, over: Partial<UnitChannel['output']> = {}, input: Partial<UnitChannel['input']> = {}): UnitChannel => ({
  name, input: { impedanceOhm: 47_000, sourceOhm: 600, levelMaxV: 2, ...input },
  output: { kind: 'earthed', isValve: false, loadOhm: 8, ratedW: 30, dcMaxV: 0.1, dcSource: 'test', ...over },
})

export interface Setup {
  channels?: readonly UnitChannel[]
  units?: readonly Partial<UnitTruth>[]
  bench?: Partial<BenchTruth>
  seed?: number | string
  limits?: Partial<ChannelLimits>
  load?: Partial<LoadState>
  rangesV?: readonly number[]
  sampleRatesHz?: readonly number[]
  samplesMost?: number
  stepsOhm?: readonly number[]
  tonesMost?: 1 | 2
  meter?: { error: number; u: number }
  isDifferential?: boolean
  hasTransient?: boolean
  clock?: Clock
}

interface Play { atMs: number; tones: readonly DriveTone[]; on: boolean; squarePeakV: number }

export class SimBench implements ProvingPort {
  readonly channels: readonly UnitChannel[]
  readonly generator: ProvingPort['generator']
  readonly digitizer: ProvingPort['digitizer']
  readonly loadStepsOhm: readonly number[]
  readonly mains = { voltageV: 230, frequencyHz: 50 }
  readonly limits: Record<string, ChannelLimits>
  readonly clock: Clock
  readonly control = new AbortController()
  readonly meter?: NonNullable<ProvingPort['meter']>
  readonly setTransient?: (channel: string, peakV: number) => Promise<void>
  readonly units: UnitTruth[]
  readonly truth: BenchTruth
  readonly told: Progress[] = []
  readonly sent: string[] = []
  /** Ω that are connected, null where it is open; energy that each load took, J, and the most watts. */
  readonly ohm = new Map<string, number | null>()
  readonly mostW = new Map<string, number>()
  /** Called before every verb: throws, hangs or aborts, as a test likes. */
  before: (verb: string) => void | Promise<void> = () => {}
  patchedTo: 'loop' | 'unit' = 'unit'
  patches = 0
  #plays = new Map<string, Play[]>()
  #random: SeededRandom
  #load: Partial<LoadState>

  constructor(setup: Setup = {}) {
    this.channels = setup.channels ?? [channelOf('left'), channelOf('right')]
    this.units = this.channels.map((_, i) => ({ ...soundUnit, ...setup.units?.[i] ?? setup.units?.[0] }))
    this.truth = { ...goodBench, ...setup.bench }
    this.clock = setup.clock ?? new VirtualClock()
    this.generator = {
      sourceOhm: this.truth.sourceOhm, levelMaxV: 5, frequencyMinHz: 2, frequencyMaxHz: 100_000,
      tonesMost: setup.tonesMost ?? 2, sharesClock: this.truth.sharesClock, settleMs: 20,
    }
    this.digitizer = {
      inputOhm: 1e6, isDifferential: setup.isDifferential ?? true,
      rangesV: setup.rangesV ?? [0.01, 0.1, 1, 10, 40, 100],
      sampleRatesHz: setup.sampleRatesHz ?? [48_000, 96_000, 192_000], samplesMost: setup.samplesMost ?? 2 ** 20,
    }
    this.loadStepsOhm = setup.stepsOhm ?? [4, 8, 16]
    const limits = { driveMaxV: 5, outputMaxV: 40, outputMaxW: 100, dwellMaxS: 60, ...setup.limits }
    this.limits = Object.fromEntries(this.channels.map(({ name }) => [name, limits]))
    this.#load = setup.load ?? {}
    this.#random = new SeededRandom(setup.seed ?? 1)
    for (const { name, output } of this.channels) { this.ohm.set(name, output.loadOhm); this.#plays.set(name, []) }
    if (setup.meter) {
      const { error, u } = setup.meter
      this.meter = { bandMinHz: 20, bandMaxHz: 20_000, read: channel => this.#metered(channel, error, u) }
    }
    if (setup.hasTransient) this.setTransient = (channel, peakV) => this.#put(channel, { tones: [], squarePeakV: peakV })
  }

  get signal(): AbortSignal { return this.control.signal }
  /** Channels that are on now. */
  get driven(): string[] { return this.channels.map(({ name }) => name).filter(name => this.#last(name)?.on === true) }

  tell(progress: Progress): void { this.told.push(progress) }
  async patch(to: 'loop' | 'unit'): Promise<void> {
    await this.#verb(`patch ${to}`)
    if (this.driven.length > 0) throw new Error('patched while driven')
    this.patchedTo = to
    this.patches++
  }
  setTones(channel: string, tones: readonly DriveTone[]): Promise<void> { return this.#put(channel, { tones, squarePeakV: 0 }) }
  async #put(channel: string, played: Pick<Play, 'tones' | 'squarePeakV'>): Promise<void> {
    await this.#verb(`tones ${channel}`)
    this.#add(channel, { on: this.#last(channel)?.on ?? false, ...played })
  }
  async setOutput(channel: string, on: boolean): Promise<void> {
    await this.#verb(`output ${channel} ${on}`)
    this.#add(channel, { tones: this.#last(channel)?.tones ?? [], squarePeakV: this.#last(channel)?.squarePeakV ?? 0, on })
  }
  async muteAll(): Promise<void> {
    await this.#verb('mute')
    for (const { name } of this.channels) {
      if (this.#last(name)?.on) this.#add(name, { ...this.#last(name)!, on: false })
    }
  }
  async load(channel: string): Promise<LoadState> {
    const ohm = this.ohm.get(channel)!
    const leadOhm = { value: this.truth.lead.value, u: this.truth.lead.u }
    const rating = { continuousW: 150, peakW: 300, peakS: 20 }
    if (ohm === null) return { kind: 'open', ohm: null, leadOhm, continuousW: null, peakW: null, peakS: null }
    const value = ohm * (1 + this.truth.loadError(this.#index(channel)))
    return { kind: 'load', ohm: { value, u: this.truth.loadU * ohm }, leadOhm, ...rating, ...this.#load }
  }
  async connectLoad(channel: string, ohm: number | null): Promise<void> {
    await this.#verb(`load ${channel} ${ohm}`)
    if (this.driven.length > 0) throw new Error('a load was switched while driven')
    if (ohm === null && this.channels[this.#index(channel)]!.output.isValve) throw new Error('a valve stage without a load')
    this.ohm.set(channel, ohm)
  }

  async capture({ channels, rangeV, sampleHz, samples }: CaptureOf): Promise<Capture> {
    await this.#verb(`capture ${channels.join()} ${rangeV}`)
    const fromMs = this.clock.monotonicMs()
    await sleep(this.clock, 1000 * samples / sampleHz)
    const volts = channels.map(name => this.#digitized(name, rangeV, { sampleHz, samples, fromMs }))
    const isClipped = volts.map(one => one.some(v => Math.abs(v) > rangeV))
    return { sampleHz, volts, isClipped, gainU: this.truth.gainU, offsetUV: this.truth.offsetU, atMs: fromMs }
  }

  async #verb(verb: string): Promise<void> {
    this.sent.push(verb)
    await this.before(verb)
  }
  #index(name: string): number { return this.channels.findIndex(one => one.name === name) }
  #last(name: string): Play | undefined { return this.#plays.get(name)!.at(-1) }
  #add(name: string, play: Omit<Play, 'atMs'>): void {
    const plays = this.#plays.get(name)!
    plays.push({ ...play, atMs: this.clock.monotonicMs() })
    if (plays.length > 8) plays.shift()
  }

  /** Volts at the terminals without noise, and with that of the unit where the unit is in. */
  #terminals(name: string, at: { sampleHz: number; samples: number; fromMs: number }): Float64Array {
    const i = this.#index(name)
    if (this.patchedTo === 'loop') {
      const volts = this.#emf(name, at, () => 1)
      const loading = this.digitizer.inputOhm / (this.digitizer.inputOhm + this.truth.sourceOhm)
      for (const other of this.channels) {
        if (other.name === name) continue
        this.#emf(other.name, at, () => 1).forEach((v, k) => { volts[k] = volts[k]! + this.truth.benchLeak * v })
      }
      return volts.map(v => v * loading)
    }
    const volts = this.#output(name, at)
    const { leak, noiseVPerRootHz, hum, dcV } = this.units[i]!
    for (const other of this.channels) {
      if (other.name !== name) this.#output(other.name, at).forEach((v, k) => { volts[k] = volts[k]! + (leak + this.truth.benchLeak) * v })
    }
    const sigma = noiseVPerRootHz * Math.sqrt(at.sampleHz / 2)
    const startS = at.fromMs / 1000
    for (let k = 0; k < volts.length; k++) volts[k] = volts[k]! + dcV + sigma * this.#random.normal()
    for (const { order, rmsV, phase } of hum) {
      sine(volts, order * this.truth.mainsHz, { peak: rmsV * Math.SQRT2, phase, startS, sampleHz: at.sampleHz })
    }
    return volts
  }

  /** Loaded, without noise. */
  #output(name: string, at: { sampleHz: number; samples: number; fromMs: number }): Float64Array {
    const i = this.#index(name)
    const unit = this.units[i]!
    const input = unit.inputOhm / (unit.inputOhm + this.truth.sourceOhm)
    const volts = this.#emf(name, at, hz => unit.gain * input * shapeOf(unit, hz))
    const ohm = this.ohm.get(name)
    const load = ohm === null || ohm === undefined ? 1 : ohm / (ohm + unit.sourceOhm + this.truth.lead.true)
    let [cutAt, squares] = [-Infinity, 0]
    for (let k = 0; k < volts.length; k++) {
      const y = curve(unit, volts[k]!)
      if (Math.abs(y) >= unit.clipV) cutAt = k
      const shift = unit.shiftV === 0 ? 0 : unit.shiftV * Math.exp(-(k - cutAt) / at.sampleHz / unit.shiftS)
      volts[k] = load * (y + shift)
      squares += volts[k]! ** 2
    }
    if (ohm) this.mostW.set(name, Math.max(this.mostW.get(name) ?? 0, squares / volts.length / ohm))
    return volts
  }

  /** What the generator gives into an open end, tone by tone through `gain`. */
  #emf(name: string, { sampleHz, samples, fromMs }: { sampleHz: number; samples: number; fromMs: number }, gain: (hz: number) => number): Float64Array {
    const volts = new Float64Array(samples)
    const plays = this.#plays.get(name)!
    const { truth } = this
    plays.forEach((play, p) => {
      if (!play.on) return
      const [first, last] = [play.atMs, plays[p + 1]?.atMs ?? Infinity]
        .map(ms => Math.max(0, Math.min(samples, Math.ceil((ms - fromMs) * sampleHz / 1000)))) as [number, number]
      if (last <= first) return
      const part = volts.subarray(first, last)
      const startS = fromMs / 1000 + first / sampleHz
      const rate = sampleHz * (1 + truth.clockShare)
      const to = { startS, sampleHz: rate }
      for (const { frequencyHz: hz, levelV } of play.tones) {
        const peak = levelV * Math.SQRT2 * (1 + truth.levelError(this.#index(name), hz))
        sine(part, hz, { ...to, peak: peak * gain(hz), phase: 0 })
        truth.own.forEach(({ share, phase }, k) => sine(part, (k + 2) * hz, { ...to, peak: share * peak * gain((k + 2) * hz), phase }))
      }
      if (play.squarePeakV > 0) squareAndSine(part, play.squarePeakV, { ...to, gain })
      const sigma = truth.sourceNoise * gain(1000) * Math.sqrt(sampleHz / 2)
      if (sigma > 0) for (let k = 0; k < part.length; k++) part[k] = part[k]! + sigma * this.#random.normal()
    })
    return volts
  }

  #digitized(name: string, rangeV: number, at: { sampleHz: number; samples: number; fromMs: number }): Float64Array {
    const { gainError, offsetError, digitizerNoise, digitizerOwn } = this.truth
    const i = this.#index(name)
    const volts = this.#terminals(name, at)
    const sigma = digitizerNoise * rangeV * Math.sqrt(at.sampleHz / 2)
    const [gain, offset] = [1 + gainError(i, rangeV), offsetError(i, rangeV)]
    for (let k = 0; k < volts.length; k++) {
      const v = volts[k]!
      volts[k] = gain * (v + digitizerOwn * 2 * v * v / rangeV) + offset + sigma * this.#random.normal()
    }
    return volts
  }

  async #metered(channel: string, error: number, u: number): Promise<{ value: number; u: number; quality: 'good'; atMs: number }> {
    const atMs = this.clock.monotonicMs()
    const volts = this.#terminals(channel, { sampleHz: 48_000, samples: 48_00, fromMs: atMs })
    const rms = Math.sqrt(volts.reduce((sum, v) => sum + v * v, 0) / volts.length)
    return { value: rms * (1 + error), u: u * rms, quality: 'good', atMs }
  }
}

export function shapeOf({ lowHz, highHz, shape }: UnitTruth, hz: number): number {
  return shape ? shape(hz) : 1 / Math.hypot(1, lowHz / hz) / Math.hypot(1, hz / highHz)
}

export const curve = ({ b2, b3, clipV }: UnitTruth, v: number): number =>
  Math.max(-clipV, Math.min(clipV, v + b2 * v * v + b3 * v * v * v))

function sine(into: Float64Array, hz: number, { peak, phase, startS, sampleHz }: { peak: number; phase: number; startS: number; sampleHz: number }): void {
  const start = phase + 2 * Math.PI * ((hz * startS) % 1)
  for (let block = 0; block < into.length; block += 256) {
    let [re, im] = [Math.cos(start + 2 * Math.PI * hz * block / sampleHz), Math.sin(start + 2 * Math.PI * hz * block / sampleHz)]
    const [c, s] = [Math.cos(2 * Math.PI * hz / sampleHz), Math.sin(2 * Math.PI * hz / sampleHz)]
    for (let k = block; k < Math.min(into.length, block + 256); k++) {
      into[k] = into[k]! + peak * im;
      [re, im] = [re * c - im * s, im * c + re * s]
    }
  }
}

/** A square wave of 3.15 kHz, as far as 30 kHz, and a sine of 15 kHz, 4 to 1 peak to peak. */
function squareAndSine(into: Float64Array, peakV: number, { gain, ...to }: { gain: (hz: number) => number; startS: number; sampleHz: number }): void {
  sine(into, 15_000, { ...to, peak: 0.2 * peakV * gain(15_000), phase: 0 })
  for (let k = 1; k * 3150 < 30_000; k += 2) sine(into, k * 3150, { ...to, peak: 0.8 * peakV * 4 / Math.PI / k * gain(k * 3150), phase: 0 })
}

/** Runs on the virtual clock of the bench. */
export const run = <T>(bench: SimBench, work: Promise<T>): Promise<T> => (bench.clock as VirtualClock).run(work)
