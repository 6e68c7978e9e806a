/** Gaussian noise of any density, made in the frequency domain from a seeded stream. */
import type { SeededRandom } from '../../src/base/random.ts'
import { powerOfTwo, realSeries } from './fourier.ts'

/** V²/Hz at a frequency. */
export type Density = (hz: number) => number

const stepsPerOctave = 24

/** A record whose mean square in any band is the integral of the density there, but for chance. */
export function noiseRecord(
  random: SeededRandom, density: Density, sampleHz: number, samples: number,
): Float64Array {
  const grid = powerOfTwo(Math.max(samples, 16))
  const half = grid / 2
  const binHz = sampleHz / grid
  const of = tabulated(density, binHz, sampleHz / 2)
  const re = new Float64Array(half + 1)
  const im = new Float64Array(half + 1)
  for (let k = 1; k < half; k++) {
    const amplitude = Math.sqrt(of(k * binHz) * binHz / 4)
    re[k] = amplitude * random.normal()
    im[k] = amplitude * random.normal()
  }
  return realSeries(re, im).subarray(0, samples)
}

/** A density by straight lines between its logarithms; smooth ones are met within 1e-4. */
function tabulated(density: Density, lowHz: number, highHz: number): Density {
  const octaves = Math.log2(highHz / lowHz)
  const count = Math.ceil(octaves * stepsPerOctave) + 1
  const logs = Float64Array.from({ length: count + 1 }, (_, i) =>
    Math.log(Math.max(density(lowHz * 2 ** (i / stepsPerOctave)), 1e-60)))
  return hz => {
    const x = Math.log2(hz / lowHz) * stepsPerOctave
    const i = Math.min(count - 1, Math.max(0, Math.floor(x)))
    return Math.exp(logs[i]! + (x - i) * (logs[i + 1]! - logs[i]!))
  }
}
