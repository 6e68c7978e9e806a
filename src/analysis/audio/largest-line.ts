/** Where the largest line of a record lies, between two bins. */
import type { Estimate } from './sine-fit.ts'
import type { Transformed } from './spectrum.ts'

/** Bins of a Hann window that hold a line, on either side, and those beyond from which its noise is told. */
const reach = 3
const besideBins = 40
/**
 * By how much noise moves the place of a line that is told from two bins of a Hann window, in bins, for noise
 * of one bin that equals the line: from how the two bins and their noise go together.
 */
const placeU = 0.9

/** In bins: by the largest bin and its larger neighbour through a Hann window. */
export function largestLine(record: Transformed): Estimate {
  const { re, im } = record.bins
  let most = 1
  let mostSquare = 0
  for (let k = 1; k < re.length - 1; k++) {
    const square = re[k]! * re[k]! + im[k]! * im[k]!
    if (square > mostSquare) { most = k; mostSquare = square }
  }
  if (mostSquare === 0) return { value: most, u: Infinity }
  const power = (k: number): number => hannPower(record, k)
  const [low, high] = [power(most - 1), power(most + 1)]
  const ratio = Math.sqrt(Math.max(low, high) / power(most))
  const value = most + (high > low ? 1 : -1) * (2 * ratio - 1) / (1 + ratio)
  let held = 0
  for (let k = most - reach; k <= most + reach; k++) held += power(k)
  const beside: number[] = []
  for (let away = reach + 1; away <= reach + besideBins; away++) {
    beside.push(power(most - away), power(most + away))
  }
  const known = beside.filter(one => one > 0).sort((a, b) => a - b)
  const noise = (known[Math.floor(known.length / 2)] ?? 0) / Math.LN2
  return { value, u: placeU * Math.sqrt(noise / held) }
}

/** Of one bin; 0 where there is none. */
function hannPower({ bins: { re, im }, count }: Transformed, k: number): number {
  if (k < 1 || k >= re.length) return 0
  // Above half the rate the bins mirror those below it.
  const isBeyond = k + 1 >= re.length
  const above = isBeyond ? count - k - 1 : k + 1
  const x = re[k]! / 2 - (re[k - 1]! + re[above]!) / 4
  const y = im[k]! / 2 - (im[k - 1]! + (isBeyond ? -im[above]! : im[above]!)) / 4
  return x * x + y * y
}
