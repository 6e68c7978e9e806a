/** What the simulated unit really does, from its own curve by a direct sum over one period. */
import { curve, shapeOf, type UnitTruth } from './bench.ts'

const points = 4096

/** Peaks of the harmonics of y(A·sin), from the mean up, at its open output. */
export function harmonicsOf(unit: UnitTruth, peakV: number, most = 64): number[] {
  const wave = Float64Array.from({ length: points }, (_, i) => curve(unit, peakV * Math.sin(2 * Math.PI * i / points)))
  return Array.from({ length: most + 1 }, (_, n) => {
    let [re, im] = [0, 0]
    wave.forEach((y, i) => {
      re += y * Math.cos(2 * Math.PI * ((n * i) % points) / points)
      im += y * Math.sin(2 * Math.PI * ((n * i) % points) / points)
    })
    return (n === 0 ? 1 : 2) * Math.hypot(re, im) / points
  })
}

export interface AtLevel { readonly fundamentalV: number; readonly wholeV: number; readonly thd: number; readonly thdN: number }

/** At its open output, RMS; `peakV` before the curve. Noise in the audio band is counted in `thdN`. */
export function atPeak(unit: UnitTruth, peakV: number, hz: number, orders = 10): AtLevel {
  const [, first, ...above] = harmonicsOf(unit, peakV) as [number, number, ...number[]]
  const inBand = above.filter((_, i) => (i + 2) * hz <= 20_000)
  const squares = (list: readonly number[]): number => list.reduce((sum, v) => sum + v * v, 0)
  // In the loaded output the noise stands beside the divided signal.
  const load = 8 / (8 + unit.sourceOhm)
  const noise = (2 * (unit.noiseVPerRootHz ** 2 * 19_980 + unit.hum.reduce((sum, one) => sum + one.rmsV ** 2, 0))) / load ** 2
  const rest = squares(inBand) + noise
  return {
    fundamentalV: first / Math.SQRT2, wholeV: Math.sqrt((first * first + rest) / 2),
    thd: Math.sqrt(squares(above.slice(0, orders - 1))) / first, thdN: Math.sqrt(rest / (first * first + rest)),
  }
}

/** Peak before the curve at which `of` passes the limit, from above. */
export function peakAtLimit(unit: UnitTruth, hz: number, limit: number, of: 'thd' | 'thdN'): number {
  let [low, high] = [0.5 * unit.clipV, 2 * unit.clipV]
  for (let i = 0; i < 50; i++) {
    const middle = (low + high) / 2
    if (atPeak(unit, middle, hz)[of] > limit) high = middle
    else low = middle
  }
  return (low + high) / 2
}

/** Peak before the curve for so many RMS volts of the fundamental behind it. */
export function peakFor(unit: UnitTruth, fundamentalV: number): number {
  let [low, high] = [0, 4 * unit.clipV]
  for (let i = 0; i < 60; i++) {
    const middle = (low + high) / 2
    if (harmonicsOf(unit, middle, 1)[1]! / Math.SQRT2 > fundamentalV) high = middle
    else low = middle
  }
  return (low + high) / 2
}

export const loadedShare = (unit: UnitTruth, ohm: number): number => ohm / (ohm + unit.sourceOhm)
export const decibels = (ratio: number): number => 20 * Math.log10(ratio)
export const responseDb = (unit: UnitTruth, hz: number, ofHz = 1000): number => decibels(shapeOf(unit, hz) / shapeOf(unit, ofHz))
