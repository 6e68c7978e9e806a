/**
 * The true figures of a simulated unit, from its hidden truth: amplitudes of its waves as they are computed,
 * integrals of its densities, closed forms. No record is sampled and nothing is estimated. Rails stand as
 * each drive leaves them, temperatures as they are given.
 */
import { SimulatedUnit } from './amplifier.ts'
import type { Surroundings } from './channel.ts'
import type { Chain } from './chain.ts'
import { latticeOf } from './lattice.ts'
import { Phasor } from './phasor.ts'
import { root } from './root.ts'
import type { Line, Torus } from './torus.ts'
import type { UnitTruth } from './truth.ts'
import { weightingAt, type WeightingName } from './weighting.ts'
import type { SourceTone } from './world.ts'

export interface Circumstances {
  readonly mainsV?: number
  readonly mainsHz?: number
  readonly ambientC?: number
  /** By thermal node; the air's where left out. */
  readonly celsius?: ArrayLike<number>
  /** Of the source; 0 when left out. */
  readonly sourceOhm?: number
  /** At every output; each its rated one when left out, null open. */
  readonly loadOhm?: number | null
  readonly driven?: 'one' | 'all'
}
export interface ToneAsk { readonly channel: number; readonly hz: number; readonly emfV: number }
/** Root mean square volts at the terminals. */
export interface ToneTruth {
  readonly fundamentalV: number
  /** Of order 2, 3, … as far as the grid goes. */
  readonly harmonicsV: readonly number[]
  /** Without DC. */
  readonly volts: number
  readonly watts: number
  readonly dcV: number
}
export interface Band { readonly fromHz: number; readonly toHz: number }
export interface DistortionAsk {
  readonly of?: 'thd' | 'thd+n'
  readonly orders?: number
  readonly band?: Band
}
const audioBand: Band = { fromHz: 20, toHz: 20_000 }
const kilohertz = 1000
const decibels = (ratio: number): number => 20 * Math.log10(ratio)

export class UnitFigures {
  readonly unit: SimulatedUnit
  readonly #at: Circumstances

  constructor(truth: UnitTruth, at: Circumstances = {}) {
    this.#at = at
    const { mainsV, mainsHz, fuseA } = truth.supply
    // No fuse goes while one only asks.
    const asked = { ...truth, supply: { ...truth.supply, fuseA: fuseA * 1e9 } }
    this.unit = new SimulatedUnit(asked, 0, at.ambientC)
    if (at.celsius) this.unit.thermal.celsius.set(at.celsius)
    this.unit.channels.forEach((_, i) => { this.#prepare(i) })
    this.unit.setMains({ rmsV: at.mainsV ?? mainsV, frequencyHz: at.mainsHz ?? mainsHz, seriesOhm: 0 })
    this.unit.settleRails()
  }

  /** The wave of a drive, in the first channel it is asked of; the others are driven alike or terminated. */
  wave(channel: number, tones: readonly SourceTone[]): { out: Torus; around: Surroundings } {
    this.unit.channels.forEach((each, i) => {
      each.drive(i === channel || this.#at.driven === 'all' ? tones : [], this.#at.sourceOhm ?? 0, 0)
    })
    this.unit.settleRails()
    const around = this.unit.surroundings(channel)
    return { out: this.#chain(channel, around).wave(latticeOf(tones)).out, around }
  }

  tone({ channel, hz, emfV }: ToneAsk): ToneTruth {
    const { out } = this.wave(channel, [{ frequencyHz: hz, peakV: Math.SQRT2 * emfV, phaseRad: 0 }])
    const rms = (order: number): number => {
      const { re, im } = out.at(order)
      return Math.hypot(re, im) / Math.SQRT2
    }
    const volts = Math.sqrt(Math.max(0, out.meanSquare - out.mean ** 2))
    return {
      fundamentalV: rms(1), volts, dcV: out.mean, watts: volts ** 2 / this.loadOhm(channel),
      harmonicsV: Array.from({ length: out.points[0] / 2 - 2 }, (_, i) => rms(i + 2)),
    }
  }

  loadOhm(channel: number): number { return this.unit.channels[channel]!.loadOhm ?? Infinity }

  /** Of the fundamental. All harmonics where no orders are named, within the band for THD+N. */
  distortion(ask: ToneAsk, { of = 'thd', orders, band = audioBand }: DistortionAsk = {}): number {
    const tone = this.tone(ask)
    const last = orders ?? Infinity
    const isCounted = (order: number): boolean => order <= last
      && (of === 'thd' || (order * ask.hz >= band.fromHz && order * ask.hz <= band.toHz))
    const harmonics = Math.hypot(...tone.harmonicsV.filter((_, i) => isCounted(i + 2)))
    const noise = of === 'thd' ? 0 : this.noiseV(ask.channel, 'flat', band, true)
    return Math.hypot(harmonics, noise) / tone.fundamentalV
  }

  /** Output over EMF, dB. */
  gainDb(ask: ToneAsk): number { return decibels(this.tone(ask).fundamentalV / ask.emfV) }

  /** EMF for so many volts at the output; null where it does not give them. */
  emfFor(channel: number, hz: number, volts: number): number | null {
    const linear = volts / this.smallGain(channel, hz)
    const excess = (emfV: number): number => Math.log(this.tone({ channel, hz, emfV }).volts / volts)
    for (let high = 1.05 * linear; high < 8 * linear; high *= 1.2) {
      if (excess(high) >= 0) return root(excess, high / 1.5, high)
    }
    return null
  }

  sensitivityV(channel: number, watts: number, hz = kilohertz): number | null {
    return this.emfFor(channel, hz, Math.sqrt(watts * this.loadOhm(channel)))
  }

  /** The highest output at which distortion is at the limit; null where it is always above, or never. */
  powerAt(
    channel: number, limit: number, hz = kilohertz, ask: DistortionAsk = {},
  ): { watts: number; emfV: number } | null {
    const over = (emfV: number): number => Math.log(this.distortion({ channel, hz, emfV }, ask) / limit)
    const { topV, bottomV } = this.#chain(channel, this.unit.surroundings(channel))
    let high = 2 * Math.max(topV, bottomV) / Math.SQRT2 / this.smallGain(channel, hz)
    if (!(over(high) > 0)) return null
    for (let low = high * 0.92; low > high * 1e-4; low *= 0.92) {
      if (over(low) > 0) { high = low; continue }
      const emfV = root(over, low, high)
      return { emfV, watts: this.tone({ channel, hz, emfV }).watts }
    }
    return null
  }

  /** Frequencies between which half of the watts come within the limit; null where not at 1 kHz. */
  powerBandwidth(channel: number, watts: number, limit: number, ask: DistortionAsk = {}): Band | null {
    const isGood = (hz: number): boolean => {
      const emfV = this.emfFor(channel, hz, Math.sqrt(watts / 2 * this.loadOhm(channel)))
      return emfV !== null && this.distortion({ channel, hz, emfV }, ask) <= limit
    }
    if (!isGood(kilohertz)) return null
    return { fromHz: edgeOf(isGood, kilohertz, 1), toHz: edgeOf(isGood, kilohertz, 400_000) }
  }

  /** Volts out for one volt of EMF, for small signals. */
  smallGain(channel: number, hz: number): number {
    return this.#chain(channel, this.unit.surroundings(channel)).small(hz).size
  }

  /** Against 1 kHz, dB, for small signals. */
  responseDb(channel: number, hz: number): number {
    return decibels(this.smallGain(channel, hz) / this.smallGain(channel, kilohertz))
  }

  /** Where the response has fallen by so many decibels, Hz. */
  corners(channel: number, dropDb = 3): Band {
    const isWithin = (hz: number): boolean => this.responseDb(channel, hz) > -dropDb
    return { fromHz: edgeOf(isWithin, kilohertz, 1e-3), toHz: edgeOf(isWithin, kilohertz, 1e8) }
  }

  /** Response against the replay curve, both 0 dB at 1 kHz. */
  equalisationErrorDb(channel: number, hz: number, curve: 'riaa' | 'iec'): number {
    const replay = (f: number): number => {
      const z = new Phasor().times(1, f / 500.487_24).over(1, f / 50.048_724).over(1, f / 2122.065_9)
      return (curve === 'iec' ? z.highPass(f, 1 / (2 * Math.PI * 7950e-6)) : z).size
    }
    return this.responseDb(channel, hz) - decibels(replay(hz) / replay(kilohertz))
  }

  /** Root mean square in a band, with the lines of the mains or without. */
  noiseV(channel: number, weighting: WeightingName, band = audioBand, withHum = false): number {
    const each = this.unit.channels[channel]!
    const density = each.noiseDensity(this.unit.surroundings(channel))
    const steps = 2000
    let sum = 0
    // Simpson over the logarithm of frequency.
    const octave = Math.log(band.toHz / band.fromHz) / steps
    for (let i = 0; i <= steps; i++) {
      const hz = band.fromHz * Math.exp(i * octave)
      const weight = i === 0 || i === steps ? 1 : i % 2 === 1 ? 4 : 2
      sum += weight * density(hz) * weightingAt(weighting, hz) ** 2 * hz
    }
    const noise = sum * octave / 3
    const isIn = ({ hz }: Line): boolean => hz >= band.fromHz && hz <= band.toHz
    const hum = withHum ? summed(this.#humLines(channel)).filter(isIn) : []
    return Math.sqrt(noise + hum.reduce((total, { hz, re, im }) =>
      total + weightingAt(weighting, hz) ** 2 * (re * re + im * im) / 2, 0))
  }

  /** Lines at multiples of the mains, of orders up to 10, all by their squares. */
  humV(channel: number): number {
    const mainsHz = this.unit.mainsHz!
    return Math.hypot(...summed(this.#humLines(channel)).filter(({ hz }) => hz <= 10.5 * mainsHz)
      .map(({ re, im }) => Math.hypot(re, im) / Math.SQRT2))
  }

  /** How far the line of a driven channel is below that in this one, dB. */
  separationDb(heard: number, hz: number): number {
    const { share, cornerHz } = this.unit.truth.channels[heard]!.crosstalk
    return -decibels(share * Math.hypot(1, hz / cornerHz))
  }

  /** Load over output resistance, from two loads (the other open where it is null). */
  dampingFactor(channel: number, hz: number, emfV: number, otherOhm: number | null = null): number {
    const each = this.unit.channels[channel]!
    const ohm = each.loadOhm!
    const loaded = this.tone({ channel, hz, emfV }).fundamentalV
    each.loadOhm = otherOhm
    const other = this.tone({ channel, hz, emfV }).fundamentalV
    each.loadOhm = ohm
    return ohm * (loaded / ohm - (otherOhm === null ? 0 : other / otherOhm)) / (other - loaded)
  }

  dcOffsetV(channel: number): number {
    const { out } = this.wave(channel, [])
    return out.mean
  }

  /** From the end of an overload of `overS` at `emfV` until the level is within a share of its last, s. */
  recoveryS(ask: ToneAsk, overS: number, share: number): number {
    this.tone(ask)
    const { chargeS, recoverS, depth } = this.unit.truth.channels[ask.channel]!.blocking
    const { overload } = this.unit.channels[ask.channel]!.duty(this.unit.surroundings(ask.channel))
    const charge = Math.min(1, Math.max(0, overload - 1)) * -Math.expm1(-overS / chargeS)
    return Math.max(0, recoverS * Math.log(Math.max(depth * charge, 1e-300) / share))
  }

  /** Peak volts of every line that a sum of tones leaves at the output; lines at one frequency added up. */
  products(channel: number, tones: readonly SourceTone[]): (hz: number) => number {
    const lines = summed(this.wave(channel, tones).out.lines(0))
    return hz => {
      const line = lines.find(each => Math.abs(each.hz - hz) <= 1e-6 * hz)
      return line ? Math.hypot(line.re, line.im) : 0
    }
  }

  #prepare(channel: number): void {
    const { loadOhm, sourceOhm = 0 } = this.#at
    const each = this.unit.channels[channel]!
    each.loadOhm = loadOhm === undefined ? each.truth.output.ratedOhm : loadOhm
    each.drive([], sourceOhm, 0)
  }

  #chain(channel: number, around: Surroundings): Chain { return this.unit.channels[channel]!.chain(around) }

  #humLines(channel: number): Line[] {
    const around = this.unit.surroundings(channel)
    return this.unit.channels[channel]!.humLines(around, this.unit.mainsHz!, this.unit.rippleV(channel))
  }
}

/** Lines of one frequency meet in amplitude and phase. */
function summed(lines: readonly Line[]): Line[] {
  const sorted = [...lines].sort((a, b) => a.hz - b.hz)
  const list: Line[] = []
  for (const line of sorted) {
    const last = list.at(-1)
    if (last && Math.abs(line.hz - last.hz) <= 1e-9 * line.hz) {
      list[list.length - 1] = { hz: last.hz, re: last.re + line.re, im: last.im + line.im }
    } else list.push(line)
  }
  return list
}

/** From a good frequency towards one that may be bad: the edge, or that end. */
function edgeOf(isGood: (hz: number) => boolean, goodHz: number, endHz: number): number {
  const step = endHz > goodHz ? 1.3 : 1 / 1.3
  let good = goodHz
  let bad = goodHz * step
  while (isGood(bad)) {
    if (step > 1 ? bad >= endHz : bad <= endHz) return endHz
    good = bad
    bad *= step
  }
  for (let turn = 0; turn < 40; turn++) {
    const half = Math.sqrt(good * bad)
    if (isGood(half)) good = half
    else bad = half
  }
  return good
}
