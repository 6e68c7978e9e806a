/** True intermodulation of a simulated unit, by each usual sum, from the amplitudes of its products. */
import type { UnitFigures } from './figures.ts'
import type { SourceTone } from './world.ts'

const tone = (frequencyHz: number, rmsV: number): SourceTone =>
  ({ frequencyHz, peakV: Math.SQRT2 * rmsV, phaseRad: 0 })

/**
 * A low and a high tone, 4:1, with the peak of a sine of `emfV`. Shares of the high tone: sidebands of each
 * order added and orders by their squares (`pairs`), or all by their squares (`squares`); `sidebands` of them
 * on each side.
 */
export function modulationOf(
  figures: UnitFigures, channel: number, emfV: number, { lowHz, highHz } = { lowHz: 60, highHz: 7000 },
  sidebands = 4,
): { pairs: number; squares: number } {
  const at = figures.products(channel, [tone(lowHz, 0.8 * emfV), tone(highHz, 0.2 * emfV)])
  const sides = Array.from({ length: sidebands }, (_, i) => i + 1).map(order =>
    [at(highHz - order * lowHz), at(highHz + order * lowHz)])
  const high = at(highHz)
  return {
    pairs: Math.hypot(...sides.map(([a, b]) => a! + b!)) / high, squares: Math.hypot(...sides.flat()) / high,
  }
}

/**
 * Two equal tones with the peak of a sine of `emfV`: their difference, and both third-order products added;
 * both orders by their squares. Shares of the sum of both tones; twice as much of one of them.
 */
export function differenceOf(
  figures: UnitFigures, channel: number, emfV: number, { lowHz, highHz } = { lowHz: 19_000, highHz: 20_000 },
): { second: number; third: number; both: number } {
  const at = figures.products(channel, [tone(lowHz, emfV / 2), tone(highHz, emfV / 2)])
  const sum = at(lowHz) + at(highHz)
  const second = at(highHz - lowHz)
  const thirds = [at(2 * lowHz - highHz), at(2 * highHz - lowHz)]
  return {
    second: second / sum, third: (thirds[0]! + thirds[1]!) / sum, both: Math.hypot(second, ...thirds) / sum,
  }
}

/**
 * A sine and what is given of a square wave: nine products |n·square − sine| below the sine by their squares,
 * as a share of the sine.
 */
export function transientOf(
  figures: UnitFigures, channel: number, tones: readonly SourceTone[],
  { sineHz, squareHz } = { sineHz: 15_000, squareHz: 3150 },
): number {
  const at = figures.products(channel, tones)
  const products = Array.from({ length: 9 }, (_, i) => at(Math.abs((i + 1) * squareHz - sineHz)))
  return Math.hypot(...products) / at(sineHz)
}
