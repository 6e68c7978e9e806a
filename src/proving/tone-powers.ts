/** One record of a tone taken apart into mean squares that noise does not bias. */
import { foundHz } from '../analysis/audio/intermodulation.ts'
import { lineWithNoise } from '../analysis/audio/noise-around.ts'
import { fitSine } from '../analysis/audio/sine-fit.ts'
import {
  binsOf, lineBins, showsLine, spectrumIn, transformed, type Band, type Spectrum, type Transformed,
} from '../analysis/audio/spectrum.ts'
import type { WindowName } from '../analysis/audio/windows.ts'
import type { Known } from './port.ts'

export interface HarmonicPower extends Known {
  readonly order: number
  readonly hz: number
  /** Mean square of the noise under it; the value is without it, and may lie below 0 by chance. */
  readonly noise: number
}

export interface TonePowers {
  readonly hz: number
  readonly window: WindowName
  readonly how: string
  readonly binHz: number
  /** Mean squares, V². */
  readonly fundamental: Known
  /** To the order that was asked for, and further to the end of the band. */
  readonly harmonics: readonly HarmonicPower[]
  /** All in the band but the fundamental and these harmonics, what lies under them estimated. */
  readonly rest: Known
  readonly dc: number
}

export interface ToneAsked { readonly hz: number; readonly orders: number; readonly band: Band }

/** Harmonics that are taken as lines and not as noise. */
const linesMost = 64

/** RangeError where there is no tone. In a record too short for a window, its level alone by a fit. */
export function tonePowers(samples: ArrayLike<number>, sampleHz: number, asked: ToneAsked): TonePowers {
  const record = transformed(samples, sampleHz)
  const { window, how } = windowFor(record, [asked.hz])
  const spectrum = spectrumIn(record, window)
  if (asked.hz / spectrum.binHz < 2 * spectrum.reach + 2) return fitted(samples, sampleHz, asked.hz)
  const hz = foundHz(spectrum, asked.hz)
  const line = lineWithNoise(spectrum, hz)
  const harmonics: HarmonicPower[] = []
  const most = Math.max(asked.orders, Math.min(linesMost, Math.floor(asked.band.toHz / hz)))
  for (let order = 2; order <= most && showsLine(spectrum, order * hz); order++) {
    const { power, floor, u } = lineWithNoise(spectrum, order * hz)
    harmonics.push({ order, hz: order * hz, value: power - floor, u, noise: floor })
  }
  return {
    hz, window, how, binHz: spectrum.binHz, harmonics, dc: spectrum.dc,
    fundamental: { value: line.power - line.floor, u: line.u },
    rest: restOf(spectrum, [hz, ...harmonics.map(one => one.hz)], asked.band),
  }
}

/** Level alone, where a record holds too few periods for a window. */
function fitted(samples: ArrayLike<number>, sampleHz: number, hz: number): TonePowers {
  const { amplitude, frequencyHz, dc } = fitSine(samples, sampleHz, hz)
  if (!(amplitude.value > 0 && Math.abs(frequencyHz.value / hz - 1) < 0.05)) {
    throw new RangeError(`no sine of ${hz} Hz fits the record`)
  }
  return {
    hz: frequencyHz.value, window: 'rectangular', how: 'sine fit: the record is too short for a window',
    binHz: sampleHz / samples.length, dc: dc.value, harmonics: [], rest: { value: 0, u: 0 },
    fundamental: { value: amplitude.value ** 2 / 2, u: amplitude.value * amplitude.u },
  }
}

/** Mean square of what lies in the band, the bins of these lines taken at the noise around them. */
export function restOf(
  spectrum: Spectrum, linesHz: readonly number[], band: Band, gain: (hz: number) => number = () => 1,
): Known {
  const { first, last } = binsOf(spectrum, band)
  const isLine = new Uint8Array(spectrum.power.length)
  let under = 0
  for (const hz of linesHz) {
    let bins = 0
    for (const bin of lineBins(spectrum, hz)) if (bin >= first && bin <= last) { isLine[bin] = 1; bins++ }
    if (bins > 0) under += bins / (2 * spectrum.reach + 1) * lineWithNoise(spectrum, hz).floor * gain(hz) ** 2
  }
  let [value, squares] = [under, 0]
  for (let bin = first; bin <= last; bin++) {
    if (isLine[bin] === 1) continue
    const power = spectrum.power[bin]! * gain(bin * spectrum.binHz) ** 2
    value += power
    squares += power * power
  }
  return { value, u: Math.sqrt(spectrum.together * squares) }
}

/** A tone is on a bin as far as its place can be told: next to it no more than noise. */
const leakMost = 25
const onBin = 1e-3

/**
 * No window where every tone fills the record with whole periods, which the bins beside it show; otherwise
 * one whose side lobes lie 144 dB down.
 */
export function windowFor(
  record: Transformed, tonesHz: readonly number[],
): { window: WindowName; how: string } {
  const spectrum = spectrumIn(record, 'rectangular')
  const off = tonesHz.find(hz => !fillsBin(spectrum, hz))
  if (off !== undefined) {
    return { window: 'hft144d', how: 'window hft144d: the record holds no whole number of periods' }
  }
  return { window: 'rectangular', how: 'coherent, no window: the record holds whole periods' }
}

function fillsBin({ power, binHz, reach, ...rest }: Spectrum, hz: number): boolean {
  const bin = Math.round(hz / binHz)
  if (Math.abs(hz / binHz - bin) > onBin || bin < 2 || bin > power.length - 3) return false
  const noise = lineWithNoise({ power, binHz, reach, ...rest }, hz).floor
  const beside = power[bin - 1]! + power[bin + 1]!
  // What arithmetic alone leaves of a tone in the bins beside it.
  return beside <= leakMost * noise + 1e-24 * power[bin]!
}
