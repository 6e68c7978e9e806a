/**
 * Power in each bin, of one side, V² (or whatever the samples are in, squared): the sum over the bins of a
 * line is its mean square, and so is the sum over a band of noise.
 */
import { realTransform, type Bins } from './fourier.ts'
import { windowFigures, windows, type WindowName } from './windows.ts'

/** A record in the frequency domain, without a window; any window can be put on it there. */
export interface Transformed {
  /** Of the samples less their mean, so that no window spreads it. */
  readonly bins: Bins
  readonly count: number
  readonly sampleHz: number
  readonly mean: number
  /** Mean square of the samples, without their mean. */
  readonly meanSquare: number
}

export interface Spectrum {
  readonly power: Float64Array
  readonly binHz: number
  readonly sampleHz: number
  readonly window: WindowName
  /** What does not alternate; through a window what a line adds to a plain mean is not in it. */
  readonly dc: number
  /** Mean square of the samples, without their mean. */
  readonly meanSquare: number
  /** Bins on either side of a line that hold what it has. */
  readonly reach: number
  /** See `WindowFigures`. */
  readonly together: number
}

export function transformed(samples: ArrayLike<number>, sampleHz: number): Transformed {
  const count = samples.length
  let sum = 0
  for (let i = 0; i < count; i++) sum += samples[i]!
  const mean = sum / count
  // In two passes: a small swing on a large mean keeps its digits.
  const rest = new Float64Array(count)
  let squares = 0
  for (let i = 0; i < count; i++) {
    const value = samples[i]! - mean
    rest[i] = value
    squares += value * value
  }
  return { bins: realTransform(rest), count, sampleHz, mean, meanSquare: squares / count }
}

export function spectrumIn(record: Transformed, window: WindowName): Spectrum {
  const { count, sampleHz, mean, meanSquare } = record
  const { gain, noiseBins, together } = windowFigures(window)
  const { power, restRe } = windowed(record, window, 2 / (count * count * noiseBins * gain * gain))
  power[0]! /= 2
  if (count % 2 === 0) power[power.length - 1]! /= 2
  return {
    power, binHz: sampleHz / count, sampleHz, window, dc: mean + restRe / (count * gain), meanSquare,
    reach: windows[window].reach, together,
  }
}

export const spectrumOf = (samples: ArrayLike<number>, sampleHz: number, window: WindowName): Spectrum =>
  spectrumIn(transformed(samples, sampleHz), window)

/**
 * A sum of cosines in time adds to each bin shares of its neighbours. Squares of what comes of it, times
 * `scale`, and the real part at 0 Hz.
 */
function windowed(
  { bins, count }: Transformed, window: WindowName, scale: number,
): { power: Float64Array; restRe: number } {
  const terms: readonly number[] = windows[window].terms
  const reach = terms.length - 1
  const length = bins.re.length
  const [re, im] = [beyond(bins.re, count, reach, 1), beyond(bins.im, count, reach, -1)]
  const power = new Float64Array(length)
  const shares = Float64Array.from(terms, (term, j) => (j === 0 ? term : (j % 2 === 0 ? term : -term) / 2))
  let restRe = 0
  for (let k = 0; k < length; k++) {
    const at = k + reach
    let sumRe = shares[0]! * re[at]!
    let sumIm = shares[0]! * im[at]!
    for (let j = 1; j <= reach; j++) {
      sumRe += shares[j]! * (re[at - j]! + re[at + j]!)
      sumIm += shares[j]! * (im[at - j]! + im[at + j]!)
    }
    if (k === 0) restRe = sumRe
    power[k] = scale * (sumRe * sumRe + sumIm * sumIm)
  }
  return { power, restRe }
}

/** With the bins below 0 and above half the rate, which mirror those within; imaginary parts with -1. */
function beyond(part: Float64Array, count: number, reach: number, sign: 1 | -1): Float64Array {
  const length = part.length
  const wide = new Float64Array(length + 2 * reach)
  wide.set(part, reach)
  for (let j = 1; j <= reach; j++) {
    wide[reach - j] = sign * (part[j] ?? 0)
    wide[reach + length - 1 + j] = sign * (part[count - (length - 1 + j)] ?? 0)
  }
  return wide
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

/** The bins of the line at `hz`. */
export function* lineBins({ power, binHz, reach }: Spectrum, hz: number): Generator<number> {
  const middle = Math.round(hz / binHz)
  const last = Math.min(power.length - 1, middle + reach)
  for (let bin = Math.max(1, middle - reach); bin <= last; bin++) yield bin
}

/** Whether the line at `hz` lies where the spectrum shows it, clear of 0 and of half the rate. */
export const showsLine = ({ power, binHz, reach }: Spectrum, hz: number): boolean =>
  hz / binHz - reach >= 1 && hz / binHz + reach <= power.length - 1
