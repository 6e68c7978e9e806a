/** Noise of a record in which nothing is played, and the lines that the mains leaves in it. */
import { lineWithNoise, rootOf } from './noise-around.ts'
import type { Estimate } from './sine-fit.ts'
import {
  audioBand, binsOf, lineBins, showsLine, spectrumIn, transformed, type Band, type Spectrum, type Transformed,
} from './spectrum.ts'
import { weightingNames, weightings, type WeightingName } from './weighting.ts'
import type { WindowName } from './windows.ts'

export interface Noise {
  readonly band: Band
  readonly window: WindowName
  readonly dc: number
  /** Root mean square by weighting. */
  readonly rms: Readonly<Record<WeightingName, Estimate>>
  readonly hum: Hum | null
}

export interface NoiseOptions {
  readonly band?: Band
  readonly window?: WindowName
  /** Near what the mains has, Hz; left out, no lines are looked for. */
  readonly mainsHz?: number
}

export function analyseNoise(
  samples: ArrayLike<number>, sampleHz: number, options: NoiseOptions = {},
): Noise {
  const { band = audioBand, window = 'hann', mainsHz } = options
  const record = transformed(samples, sampleHz)
  const spectrum = spectrumIn(record, window)
  const rms = Object.fromEntries(weightingNames.map(name => [name, weighted(spectrum, band, name)]))
  return {
    band, window, dc: spectrum.dc, rms: rms as Noise['rms'],
    hum: mainsHz === undefined ? null : humOf(record, mainsHz),
  }
}

/** Root mean square in the band, with the scatter that so short a record of noise has. */
export function weighted(spectrum: Spectrum, band: Band, name: WeightingName): Estimate {
  const { first, last } = binsOf(spectrum, band)
  const gain = weightings[name]
  let [power, squares] = [0, 0]
  for (let bin = first; bin <= last; bin++) {
    const one = spectrum.power[bin]! * gain(bin * spectrum.binHz) ** 2
    power += one
    squares += one * one
  }
  return rootOf(power, Math.sqrt(spectrum.together * squares))
}

export interface Hum {
  /** As found. */
  readonly mainsHz: number
  readonly lines: readonly { readonly order: number; readonly frequencyHz: number; readonly rms: Estimate }[]
  /** All lines by their squares. */
  readonly rms: Estimate
}

const humOrders = 10
/** Mains is this near to what it is called (common practice). */
const mainsShare = 0.01

/**
 * Lines at the mains frequency and its multiples. The frequency is looked for, not assumed: a record of one
 * second tells it to a tenth of a hertz. Null where the record is too short to tell one line from the next.
 */
export function humOf(record: Transformed, nominalHz: number): Hum | null {
  const spectrum = spectrumIn(record, 'hft144d')
  if (!showsLine(spectrum, nominalHz) || nominalHz / spectrum.binHz < 2 * spectrum.reach + 1) return null
  const mainsHz = mainsIn(spectrum, nominalHz)
  const orders = Array.from({ length: humOrders }, (_, i) => i + 1)
  const lines = orders.filter(order => showsLine(spectrum, order * mainsHz)).map(order => {
    const { power, u } = lineWithNoise(spectrum, order * mainsHz)
    return { order, frequencyHz: order * mainsHz, rms: rootOf(power, u), power, u }
  })
  const sum = lines.reduce((total, { power }) => total + power, 0)
  return {
    mainsHz, rms: rootOf(sum, Math.hypot(...lines.map(({ u }) => u))),
    lines: lines.map(({ order, frequencyHz, rms }) => ({ order, frequencyHz, rms })),
  }
}

/** Through a window of some bins: the strongest of the first lines tells best: its centre over its order. */
export function mainsIn(spectrum: Spectrum, nominalHz: number): number {
  const { binHz, power } = spectrum
  const ranked = [1, 2, 3].map(order => {
    const slack = mainsShare * order * nominalHz
    const first = Math.floor((order * nominalHz - slack) / binHz)
    const last = Math.ceil((order * nominalHz + slack) / binHz)
    let most = first
    for (let bin = first; bin <= last; bin++) if ((power[bin] ?? 0) > power[most]!) most = bin
    return { order, hz: most * binHz, power: power[most] ?? 0 }
  }).sort((a, b) => b.power - a.power)
  const { order, hz } = ranked[0]!
  let [held, moment] = [0, 0]
  for (const bin of lineBins(spectrum, hz)) { held += power[bin]!; moment += bin * power[bin]! }
  return held > 0 ? moment / held * binHz / order : nominalHz
}
