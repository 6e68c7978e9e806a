/**
 * Power in each bin, of one side, V² (or whatever the samples are in, squared): the sum over the bins of a
 * line is its mean square, and so is the sum over a band of noise.
 */
import { realTransform } from './fourier.ts'
import { windowFigures, windowOf, windows, type WindowName } from './windows.ts'

export interface Spectrum {
  readonly power: Float64Array
  readonly binHz: number
  readonly sampleHz: number
  readonly window: WindowName
  /** Mean of the samples; it is taken off before the window, so that no window spreads it. */
  readonly dc: number
  /** Mean square of the samples, without their mean. */
  readonly meanSquare: number
  /** Bins on either side of a line that hold what it has. */
  readonly reach: number
  /** See `WindowFigures`. */
  readonly together: number
}

export function spectrumOf(samples: ArrayLike<number>, sampleHz: number, window: WindowName): Spectrum {
  const count = samples.length
  const { dc, meanSquare } = momentsOf(samples)
  const weight = window === 'rectangular' ? null : windowOf(window, count)
  const weighed = new Float64Array(count)
  for (let i = 0; i < count; i++) weighed[i] = (samples[i]! - dc) * (weight?.[i] ?? 1)
  const { re, im } = realTransform(weighed)
  const squares = weight === null ? count : weight.reduce((sum, w) => sum + w * w, 0)
  const power = new Float64Array(re.length)
  for (let k = 0; k < power.length; k++) {
    const sides = k === 0 || 2 * k === count ? 1 : 2
    power[k] = sides * (re[k]! * re[k]! + im[k]! * im[k]!) / (count * squares)
  }
  return {
    power, binHz: sampleHz / count, sampleHz, window, dc, meanSquare,
    reach: windows[window].reach, together: windowFigures(window).together,
  }
}

/** In two passes: a small swing on a large mean keeps its digits. */
function momentsOf(samples: ArrayLike<number>): { dc: number; meanSquare: number } {
  const count = samples.length
  let sum = 0
  for (let i = 0; i < count; i++) sum += samples[i]!
  const dc = sum / count
  let squares = 0
  for (let i = 0; i < count; i++) squares += (samples[i]! - dc) ** 2
  return { dc, meanSquare: squares / count }
}

/** First and last bin of a band, both within it; no bin 0. */
export function binsOf({ binHz, power }: Spectrum, { fromHz, toHz }: Band): { first: number; last: number } {
  const slack = 1e-9
  return {
    first: Math.max(1, Math.ceil(fromHz / binHz - slack)),
    last: Math.min(power.length - 1, Math.floor(toHz / binHz + slack)),
  }
}

export interface Band { readonly fromHz: number; readonly toHz: number }

/** Where people hear, and amplifiers are measured (common practice). */
export const audioBand: Band = { fromHz: 20, toHz: 20_000 }

/** Mean square of the line at `hz`, with all that its bins hold; 0 beyond half the rate. */
export function linePower(spectrum: Spectrum, hz: number): number {
  let sum = 0
  for (const bin of lineBins(spectrum, hz)) sum += spectrum.power[bin]!
  return sum
}

/** The bins of the line at `hz`. */
export function* lineBins({ power, binHz, reach }: Spectrum, hz: number): Generator<number> {
  const middle = Math.round(hz / binHz)
  const last = Math.min(power.length - 1, middle + reach)
  for (let bin = Math.max(1, middle - reach); bin <= last; bin++) yield bin
}

/** Whether the line at `hz` lies where the spectrum shows it, clear of 0 and of half the rate. */
export const showsLine = ({ power, binHz, reach }: Spectrum, hz: number): boolean =>
  hz / binHz - reach >= 1 && hz / binHz + reach <= power.length - 1
