/** What was recorded: samples of one or more channels at one rate. */

export interface Recording {
  /** All of one length. */
  readonly channels: readonly Float64Array[]
  readonly sampleHz: number
  /** `V`, or `FS`: a share of the largest value that the file can hold. */
  readonly unit: 'V' | 'FS'
  /** What a sample is in the file, in words. */
  readonly format: string
  /** The smallest step that its format has, in its unit; 0 for numbers with a point. */
  readonly step: number
}

/** A stretch of it, seconds; to the end where `lengthS` is left out. */
export interface Stretch { readonly fromS?: number; readonly lengthS?: number }

/** First sample and number of samples of a stretch; RangeError where none are left. */
export function samplesOf(
  { fromS = 0, lengthS }: Stretch, count: number, sampleHz: number,
): [number, number] {
  const first = Math.round(fromS * sampleHz)
  const most = Math.max(0, count - first)
  const wanted = lengthS === undefined ? most : Math.min(most, Math.round(lengthS * sampleHz))
  if (!(first >= 0) || !(wanted >= 1)) {
    throw new RangeError(`the recording has ${(count / sampleHz).toFixed(3)} s, and this stretch none of it`)
  }
  return [first, wanted]
}

/** So many samples in a row at one end of the scale are no peak (common practice). */
const clippedRun = 3

/** Whether the signal was larger than the file can hold; a file of volts does not say. */
export function isClipped({ unit, step }: Recording, samples: Float64Array): boolean {
  if (unit !== 'FS') return false
  const [low, high] = [-1 + step / 2, 1 - 1.5 * step]
  let run = 0
  for (const value of samples) {
    run = value >= high || value <= low ? run + 1 : 0
    if (run >= clippedRun) return true
  }
  return false
}
