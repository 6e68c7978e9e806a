/** What noise lies around and under a line, and what it leaves open. */
import type { Estimate } from './sine-fit.ts'
import { lineBins, type Spectrum } from './spectrum.ts'
import { windowFigures } from './windows.ts'

/** Bins on each side of a line from which its noise is told. */
const besideBins = 40
/** The median of powers that are spread as those of noise are lies this far below their mean. */
const medianShare = Math.LN2

/** Mean noise power of one bin near `hz`, by the median: a line or two beside it do not raise it. */
export function noisePerBin({ power, binHz, reach }: Spectrum, hz: number): number {
  const middle = Math.round(hz / binHz)
  const beside: number[] = []
  for (let away = reach + 1; away <= reach + besideBins; away++) {
    for (const bin of [middle - away, middle + away]) {
      if (bin >= 1 && bin < power.length - 1) beside.push(power[bin]!)
    }
  }
  if (beside.length === 0) return 0
  beside.sort((a, b) => a - b)
  return beside[Math.floor(beside.length / 2)]! / medianShare
}

/** Mean square of a line, what of it the noise around it would read alone, and its standard uncertainty. */
export interface LinePower { readonly power: number; readonly floor: number; readonly u: number }

export function lineWithNoise(spectrum: Spectrum, hz: number): LinePower {
  const noise = noisePerBin(spectrum, hz)
  const { noiseBins, together } = windowFigures(spectrum.window)
  let power = 0
  let bins = 0
  for (const bin of lineBins(spectrum, hz)) { power += spectrum.power[bin]!; bins++ }
  // (a + n)²: noise in phase with the line, and noise alone.
  const variance = 2 * power * noise * noiseBins + bins * together * noise * noise
  return { power, floor: bins * noise, u: Math.sqrt(variance) }
}

/** The root of a mean square, with its uncertainty. */
export const rootOf = (power: number, u: number): Estimate => {
  const value = Math.sqrt(Math.max(0, power))
  // Where the uncertainty is as large as the power its root is no straight line any more.
  return { value, u: value === 0 ? Math.sqrt(u) : Math.min(u / (2 * value), Math.sqrt(u)) }
}
