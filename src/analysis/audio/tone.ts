/** One tone and what a unit adds to it: harmonics, noise, and what is told by their sums. */
import { largestLine } from './largest-line.ts'
import { lineWithNoise, noisePerBin, rootOf } from './noise-around.ts'
import type { Estimate } from './sine-fit.ts'
import {
  audioBand, binsOf, lineBins, showsLine, spectrumIn, transformed, type Band, type Spectrum,
} from './spectrum.ts'
import { windowFigures, type WindowName } from './windows.ts'

export interface ToneOptions {
  /** The highest order that is counted. */
  readonly harmonicsMost?: number
  /** Of THD+N, SINAD and SNR; harmonics are counted to half the sampling rate. */
  readonly band?: Band
  /** Chosen by what the samples show where it is left out. */
  readonly window?: WindowName
}
export const toneDefaults = { harmonicsMost: 10, band: audioBand } as const

export interface Harmonic {
  readonly order: number
  readonly frequencyHz: number
  /** Root mean square, and its share of the fundamental. */
  readonly rms: Estimate
  readonly ratio: number
  /** The noise around it would read as much, or half of it. */
  readonly isAtFloor: boolean
}

export interface Tone {
  readonly frequencyHz: Estimate
  readonly rms: Estimate
  readonly dc: Estimate
  readonly window: { readonly name: WindowName; readonly why: string }
  readonly binHz: number
  readonly harmonics: readonly Harmonic[]
  /** Share of the fundamental (`f`), and of the whole with the harmonics (`r`); orders 2 to `orders`. */
  readonly thd: {
    readonly f: Estimate; readonly r: Estimate
    /** What the noise in the bins of the harmonics reads as `f` alone. */
    readonly floor: number
    readonly orders: number
  }
  /** All in the band but the fundamental, as a share of the fundamental (`f`) and of the whole (`r`). */
  readonly thdN: { readonly f: Estimate; readonly r: Estimate; readonly band: Band }
  /** Fundamental with all else in the band, over all else, dB. */
  readonly sinadDb: Estimate
  /** Fundamental over all else in the band without the counted harmonics, dB. */
  readonly snrDb: Estimate
  /** Of an ideal converter that is driven full by this tone. */
  readonly effectiveBits: number
  /** Of all samples without their mean, and of the band. */
  readonly totalRms: number
  readonly bandRms: number
}

/**
 * RangeError where there is no tone, where it lies outside the band, or where the record is too short to tell
 * its harmonics apart through this window.
 */
export function analyseTone(
  samples: ArrayLike<number>, sampleHz: number, options: ToneOptions = {},
): Tone {
  const { harmonicsMost, band } = { ...toneDefaults, ...options }
  const record = transformed(samples, sampleHz)
  const at = largestLine(record)
  const window = options.window ? { name: options.window, why: 'asked for' } : chosenFor(at)
  const spectrum = spectrumIn(record, window.name)
  const { binHz } = spectrum
  const hz = at.value * binHz
  refuseUnlessApart(spectrum, hz, band)
  const fundamental = lineWithNoise(spectrum, hz)
  const harmonics = harmonicsOf(spectrum, hz, harmonicsMost, fundamental.power)
  const rest = restOf(spectrum, hz, harmonics.map(({ frequencyHz }) => frequencyHz), band)
  const sum = harmonics.reduce((total, { line }) => total + line.power, 0)
  const sumU = Math.hypot(...harmonics.map(({ line }) => line.u))
  return {
    frequencyHz: { value: hz, u: at.u * binHz }, rms: rootOf(fundamental.power, fundamental.u),
    dc: { value: spectrum.dc, u: meanU(spectrum) }, window, binHz,
    harmonics: harmonics.map(({ line: _, ...harmonic }) => harmonic),
    thd: {
      f: shareOf(sum, sumU, fundamental.power), r: shareOf(sum, sumU, fundamental.power + sum),
      orders: harmonicsMost,
      floor: Math.sqrt(harmonics.reduce((total, { line }) => total + line.floor, 0) / fundamental.power),
    },
    thdN: {
      f: shareOf(rest.all, rest.allU, fundamental.power),
      r: shareOf(rest.all, rest.allU, fundamental.power + rest.all), band,
    },
    sinadDb: decibels(fundamental.power + rest.all, rest.all, rest.allU),
    snrDb: decibels(fundamental.power, rest.noise, rest.noiseU),
    effectiveBits: (10 * Math.log10(fundamental.power / rest.all) - quantising.offsetDb) / quantising.bitDb,
    totalRms: Math.sqrt(spectrum.meanSquare), bandRms: Math.sqrt(fundamental.power + rest.all),
  }
}

/** An ideal converter of N bits that a sine fills: 6.02·N + 1.76 dB. */
const quantising = { bitDb: 20 * Math.log10(2), offsetDb: 10 * Math.log10(1.5) } as const

/** As near to a whole number of periods as nothing but the arithmetic leaves it. */
const wholeBins = 1e-7

/** The rectangular window where the record holds a whole number of periods, as far as it can tell. */
function chosenFor({ value: bins, u }: Estimate): { name: WindowName; why: string } {
  const offBins = Math.abs(bins - Math.round(bins))
  if (offBins <= Math.max(wholeBins, 3 * u)) {
    return { name: 'rectangular', why: `the record holds ${Math.round(bins)} whole periods` }
  }
  return { name: 'hft144d', why: `the record holds no whole number of periods: ${bins.toFixed(4)}` }
}

/** Of a mean, by the noise near 0 Hz. */
const meanU = (spectrum: Spectrum): number =>
  Math.sqrt(noisePerBin(spectrum, 0) * windowFigures(spectrum.window).noiseBins / 2)

function refuseUnlessApart({ binHz, reach }: Spectrum, hz: number, { fromHz, toHz }: Band): void {
  if (hz < fromHz || hz > toHz) {
    const where = `outside the band ${fromHz} to ${toHz} Hz`
    throw new RangeError(`the largest line is at ${hz.toFixed(1)} Hz, ${where}`)
  }
  const leastHz = (2 * reach + 2) * binHz
  if (hz < leastHz) {
    const least = `${leastHz.toFixed(1)} Hz is the lowest tone that it tells through this window`
    throw new RangeError(`the record is too short: ${least}`)
  }
}

type Counted = Harmonic & { readonly line: ReturnType<typeof lineWithNoise> }

function harmonicsOf(spectrum: Spectrum, hz: number, most: number, fundamental: number): Counted[] {
  const list: Counted[] = []
  for (let order = 2; order <= most && showsLine(spectrum, order * hz); order++) {
    const line = lineWithNoise(spectrum, order * hz)
    list.push({
      order, frequencyHz: order * hz, rms: rootOf(line.power, line.u), line,
      ratio: Math.sqrt(line.power / fundamental), isAtFloor: line.power < 2 * line.floor,
    })
  }
  return list
}

interface Rest {
  readonly all: number; readonly allU: number
  readonly noise: number; readonly noiseU: number
}

const ofTone = 1
const ofHarmonic = 2

/** Mean square of all in the band but the fundamental, and of what is no counted harmonic either. */
function restOf(spectrum: Spectrum, hz: number, harmonicsHz: readonly number[], band: Band): Rest {
  const counted = new Uint8Array(spectrum.power.length)
  for (const one of harmonicsHz) for (const bin of lineBins(spectrum, one)) counted[bin] = ofHarmonic
  for (const bin of lineBins(spectrum, hz)) counted[bin] = ofTone
  const { first, last } = binsOf(spectrum, band)
  let [noise, squares, lines, linesU2] = [0, 0, 0, 0]
  for (let bin = first; bin <= last; bin++) {
    const power = spectrum.power[bin]!
    if (counted[bin] === 0) { noise += power; squares += power * power }
    else if (counted[bin] === ofHarmonic) lines += power
  }
  for (const one of harmonicsHz) {
    if (one >= band.fromHz && one <= band.toHz) linesU2 += lineWithNoise(spectrum, one).u ** 2
  }
  const noiseU = Math.sqrt(spectrum.together * squares)
  return { noise, noiseU, all: noise + lines, allU: Math.hypot(noiseU, Math.sqrt(linesU2)) }
}

function shareOf(power: number, u: number, of: number): Estimate {
  const { value, u: rootU } = rootOf(power, u)
  return { value: value / Math.sqrt(of), u: rootU / Math.sqrt(of) }
}

/** Of what is above over what is below, with the relative uncertainty of the latter. */
const decibels = (above: number, below: number, belowU: number): Estimate =>
  ({ value: 10 * Math.log10(above / below), u: 10 / Math.LN10 * belowU / below })
