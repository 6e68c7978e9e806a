/**
 * Samples of a sum of any sines, band-limited to half the sampling rate: lines above it are left out, as by
 * an ideal filter. Each line is spread by a Gaussian over a finer grid of frequencies, transformed, and the
 * Gaussian divided out of the samples; the error is below 1e-11 of each line.
 */
import { powerOfTwo, realSeries } from './fourier.ts'
import type { Line } from './torus.ts'

/** Half width of the Gaussian in bins, and its spread for twice the samples: both errors are exp(−27). */
const reachBins = 12
const spread = reachBins / Math.sqrt(2) / (2 * Math.PI)

/** Volts at `samples` instants from `atS` on. A line at 0 Hz adds its `re`. */
export function sampled(
  lines: readonly Line[], atS: number, sampleHz: number, samples: number,
): Float64Array {
  const grid = powerOfTwo(Math.max(2 * samples, 8 * reachBins))
  const middle = Math.floor(samples / 2)
  const re = new Float64Array(grid / 2 + 1)
  const im = new Float64Array(grid / 2 + 1)
  let mean = 0
  for (const line of lines) {
    if (line.hz === 0) mean += line.re
    else if (line.hz < sampleHz / 2) {
      // Whole turns are left out, so that a late instant costs no more digits than the product itself.
      const turns = line.hz * atS % 1 + line.hz * (middle / sampleHz)
      spreadLine(line, turns, sampleHz, re, im)
    }
  }
  const series = realSeries(re, im)
  const out = new Float64Array(samples)
  const share = 1 / Math.sqrt(4 * Math.PI * spread)
  for (let n = 0; n < samples; n++) {
    const off = 2 * Math.PI * (n - middle) / grid
    out[n] = mean + series[(n - middle + grid) % grid]! * share * Math.exp(spread * off * off)
  }
  return out
}

function spreadLine(
  { hz, re, im }: Line, turns: number, sampleHz: number, gridRe: Float64Array, gridIm: Float64Array,
): void {
  const half = gridRe.length - 1
  const c = Math.cos(2 * Math.PI * turns) / 2
  const s = Math.sin(2 * Math.PI * turns) / 2
  const ar = re * c - im * s
  const ai = re * s + im * c
  const at = hz / sampleHz * 2 * half
  const first = Math.ceil(at - reachBins)
  for (let k = first; k <= at + reachBins; k++) {
    const weight = Math.exp(-((k - at) ** 2) / (4 * spread))
    const isMirrored = k < 0 || k > half
    const bin = k < 0 ? -k : k > half ? 2 * half - k : k
    // Bins 0 and half are their own mirrors: what comes from the mirrored line meets there.
    const isOwn = bin === 0 || bin === half
    gridRe[bin] = gridRe[bin]! + (isOwn ? 2 : 1) * ar * weight
    if (!isOwn) gridIm[bin] = gridIm[bin]! + (isMirrored ? -ai : ai) * weight
  }
}
