/**
 * Records: how long, how fast, where a tone is put so that it fills them, and on which range they are made.
 */
import { withDeadline } from '../base/deadline.ts'
import { BenchError } from '../base/errors.ts'
import { formatSi } from '../base/format.ts'
import type { Capture } from '../schema/unit-roles.ts'
import type { Planned, Proving } from './proving.ts'

export interface RecordSize { readonly sampleHz: number; readonly samples: number }

/** A range leaves so much room above the peak that is expected. */
const headroom = 1.2
/** Above half of the rate nothing is told, and just below it little. */
const nyquistShare = 0.46
/** A window holds a line in eight bins to each side, and the noise is told from those beyond. */
const periodsLeast = 24

export const recordS = ({ sampleHz, samples }: RecordSize): number => samples / sampleHz

/** `topHz`: highest that must be told. `lowHz`: the lowest line, and how far one lies from the next. */
export function recordFor(
  { port, options }: Planned, { lowHz, topHz }: { lowHz: number; topHz: number },
): RecordSize {
  const { sampleRatesHz, samplesMost } = port.digitizer
  const sampleHz = ratesUp(sampleRatesHz).find(rate => nyquistShare * rate >= topHz)
    ?? Math.max(...sampleRatesHz)
  // Also with one clock: a generator has steps, and what hums beside a tone fills no whole periods.
  const seconds = Math.max(options.recordS, periodsLeast / lowHz)
  const wanted = 2 ** Math.ceil(Math.log2(seconds * sampleHz) - 1e-9)
  return { sampleHz, samples: Math.min(wanted, 2 ** Math.floor(Math.log2(samplesMost))) }
}
const ratesUp = (rates: readonly number[]): number[] => [...rates].sort((a, b) => a - b)

/**
 * A whole number of periods where the clocks are one, an odd one where that moves it little: then no sample
 * is taken twice at one phase. What was asked for where the clocks are two.
 */
export function placedHz({ port }: Proving, hz: number, { sampleHz, samples }: RecordSize): number {
  if (!port.generator.sharesClock) return hz
  const asked = hz * samples / sampleHz
  const periods = asked < fewPeriods ? Math.max(1, Math.round(asked)) : 2 * Math.round((asked - 1) / 2) + 1
  return periods * sampleHz / samples
}
const fewPeriods = 64

/** Without the divider where the generator is led into the digitizer. */
export const loopRange = ({ port: { digitizer: { divider = 1 } } }: Proving, rangeV: number): number =>
  rangeV / divider

function rangesOf(proving: Proving): number[] {
  const { rangesV } = proving.port.digitizer
  const sorted = [...rangesV].sort((a, b) => a - b)
  return proving.patched === 'loop' ? sorted.map(rangeV => loopRange(proving, rangeV)) : sorted
}

export interface Heard extends Capture { readonly rangeV: number }

/** For links and instruments beside the time of the record itself, ms. */
const slackMs = 15_000

/** Takes the next larger range where a sample stood at the end of one. `peakV` is the largest to expect. */
export async function hear(
  proving: Proving, channels: readonly string[], peakV: number, size: RecordSize,
): Promise<Heard> {
  const { port } = proving
  const ranges = rangesOf(proving)
  const first = ranges.findIndex(range => range >= headroom * peakV)
  for (let i = first === -1 ? ranges.length - 1 : first; i < ranges.length; i++) {
    const rangeV = ranges[i]!
    const limitMs = 1000 * recordS(size) + slackMs
    const capture = await withDeadline(port.clock, limitMs, 'a capture', () =>
      port.capture({ channels, rangeV, ...size }), port.signal)
    refuseUnlessAsked(capture, channels, size)
    if (!capture.isClipped.some(Boolean)) return { ...capture, rangeV }
  }
  const what = `the digitizer is overdriven on its largest range by ${channels.join(', ')}`
  throw new BenchError('NO_READING', what, {
    expected: `peaks below ${formatSi(ranges.at(-1)!, 'V')}`, got: 'samples at its end',
  })
}

/** A capture that is not what was asked for, or holds what is no number, is a fault. */
function refuseUnlessAsked(
  capture: Capture, channels: readonly string[], { samples, sampleHz }: RecordSize,
): void {
  const fits = capture.volts.length === channels.length && capture.volts.every(one => one.length === samples)
  const isAtRate = Math.abs(capture.sampleHz / sampleHz - 1) < 1e-3
  const isNumeric = capture.volts.every(one => one.every(Number.isFinite))
  if (fits && isAtRate && isNumeric) return
  throw new BenchError('NO_READING', 'the capture cannot be used', {
    expected: `${channels.length} × ${samples} volts at ${sampleHz} Hz`,
    got: `${capture.volts.map(one => one.length).join(', ')} at ${capture.sampleHz} Hz`
      + (isNumeric ? '' : ', with values that are no numbers'),
  })
}

/** Smallest range that is not below these peak volts with room; the largest where there is none. */
export const rangeFor = (proving: Proving, peakV: number): number => {
  const ranges = rangesOf(proving)
  return ranges.find(range => range >= headroom * peakV) ?? ranges.at(-1)!
}
