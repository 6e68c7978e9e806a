/** Short records of the outputs of a unit under a tone: how many volts of it there are. V, RMS. */
import { withDeadline } from '../base/deadline.ts'
import { fitSineAt } from '../analysis/audio/sine-fit.ts'
import type { Led } from '../powering/places.ts'
import type { Power } from '../powering/power.ts'
import type { Measured } from '../schema/reading.ts'
import type { Capture, Digitizer } from '../schema/unit-roles.ts'

/** An output that the digitizer hears. */
export interface Heard { readonly name: string; readonly volts: Measured }

export interface RecordSize { readonly sampleHz: number; readonly samples: number }

/** Peak that a range leaves room for, over what is expected. */
const headroom = 1.5
/** Samples in a period of the highest tone that is told, at least. */
const perPeriod = 2.5
const leastS = 0.01
const periods = 5
/** For links and instruments beside the time of the record itself, ms. */
const slackMs = 15_000

/** Outputs that a digitizer hears; none where the stand has none. */
export const heardOutputs = ({ places, roles: { digitizer } }: Power): readonly Led[] =>
  digitizer ? places.outputs.filter(({ output }) => output.digitizer !== undefined) : []

/** Long enough for a level, fast enough for the tone. */
export function levelRecord({ sampleRatesHz, samplesMost }: Digitizer, hz: number): RecordSize {
  const sampleHz = rateFor(sampleRatesHz, 4 * perPeriod * hz)
  const samples = Math.ceil(Math.max(leastS, periods / hz) * sampleHz)
  return { sampleHz, samples: Math.min(samplesMost, samples) }
}

/** The slowest rate that is fast enough, or the fastest. */
export const rateFor = (ratesHz: readonly number[], leastHz: number): number =>
  [...ratesHz].sort((a, b) => a - b).find(rate => rate >= leastHz) ?? Math.max(...ratesHz)

/**
 * One record of all these outputs at once; `peakV` is the largest to expect at their terminals. One that
 * fails is made once more; a second failure is a fault of the bench.
 */
export async function capture(
  power: Power, outputs: readonly Led[], peakV: number, size: RecordSize,
): Promise<Capture & { readonly rangeV: number }> {
  const { signal, recorder } = power
  try {
    return await captureOnce(power, outputs, peakV, size)
  } catch (error) {
    if (signal.aborted) throw error
    await recorder.event({
      kind: 'capture', severity: 'warning', text: `${(error as Error).message}; it is made once more`,
    })
  }
  try {
    return await captureOnce(power, outputs, peakV, size)
  } catch (error) {
    if (signal.aborted) throw error
    power.fault('digitizer.capture', `the outputs cannot be recorded: ${(error as Error).message}`)
    throw signal.reason as Error
  }
}

async function captureOnce(
  { clock, signal, roles: { digitizer } }: Power, outputs: readonly Led[], peakV: number, size: RecordSize,
): Promise<Capture & { readonly rangeV: number }> {
  const wantedV = headroom * Math.max(...outputs.map(({ output }) => peakV / output.divider))
  const rangeV = Math.min(wantedV, Math.max(...digitizer!.rangesV))
  const channels = outputs.map(({ output }) => output.digitizer!)
  const limitMs = 1000 * size.samples / size.sampleHz + slackMs
  const found = await withDeadline(clock, limitMs, 'a capture of the outputs',
    () => digitizer!.capture({ channels, rangeV, ...size }), signal)
  return { ...found, rangeV }
}

/** The tone in each record, at the terminals. A record at the end of its range tells nothing. */
export async function hearTone(
  power: Power, outputs: readonly Led[], hz: number, peakV: number,
): Promise<Heard[]> {
  if (outputs.length === 0) return []
  const found = await capture(power, outputs, peakV, levelRecord(power.roles.digitizer!, hz))
  return outputs.map(({ spec: { name }, output }, i) => {
    if (found.isClipped[i]) {
      return { name, volts: { value: NaN, u: NaN, quality: 'over-range' as const, atMs: found.atMs } }
    }
    const { amplitude } = fitSineAt(found.volts[i]!, found.sampleHz, hz)
    const value = amplitude.value / Math.SQRT2 * output.divider
    const u = Math.hypot(amplitude.u / Math.SQRT2 * output.divider, value * scaleU(found, output))
    return { name, volts: { value, u, quality: 'good' as const, atMs: found.atMs } }
  })
}

/** Limits of error of a divider are those of an even distribution. */
export const scaleU = ({ gainU }: Capture, { dividerPct }: { dividerPct: number }): number =>
  Math.hypot(gainU, dividerPct / 100 / Math.sqrt(3))
