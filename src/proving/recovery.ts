/** Overload recovery: how long a unit takes to be itself after a tone that overdrove it. */
import { sleep } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { Figure } from '../schema/figure.ts'
import { figureOf } from './budget.ts'
import { upS, whileDriven, withinCeilings } from './drive.ts'
import { rmsOf } from './hear-tone.ts'
import { hear, recordS, type RecordSize } from './listen.ts'
import { clippingLevel } from './power.ts'
import { limitsOf, loadOhmOf, type Proving } from './proving.ts'

export interface RecoveryAsked {
  readonly channel: string
  readonly hz?: number
  readonly ratedW: number
  /** By how much the level at which it clips is exceeded. */
  readonly overDb?: number
}

export const recoveryDefaults = { hz: 5000, overDb: 10 } as const
/** The tone that it comes back to, below the rated watts. */
const restDb = -10
const seconds = 0.3
/** Part of the record that is overdriven. */
const overPart = 1 / 3
/** Within this of the tone, and of no DC, it is itself again (our own rule; no standard was read). */
const settledShare = 0.05

export async function recoveryFigure(proving: Proving, asked: RecoveryAsked): Promise<Figure> {
  const { channel, ratedW } = asked
  const { hz: askedHz, overDb } = { ...recoveryDefaults, ...asked }
  const size = recordOf(proving)
  // A whole number of samples to a period.
  const hz = size.sampleHz / Math.round(size.sampleHz / askedHz)
  const ratedV = Math.sqrt(ratedW * loadOhmOf(proving, channel))
  const levelV = await clippingLevel(proving, channel, ratedW)
  if (levelV === null) throw new BenchError('REFUSED', `channel ${channel} does not clip below its ceilings`)
  const tone = (db: number): [{ frequencyHz: number; levelV: number }] =>
    [{ frequencyHz: hz, levelV: levelV * 10 ** (db / 20) }]
  // A clipped wave is at most a square one of the largest peak.
  const mostV = Math.min(Math.SQRT2 * ratedV * squareShare, limitsOf(proving, channel).outputMaxV)
  const outputV = { [channel]: mostV }
  const forS = upS(proving, tone(0)) + 3 * recordS(size)
  const drive = { tones: { [channel]: tone(overDb) }, outputV, forS }
  const told = await whileDriven(proving, drive, async driven => {
    const capture = hear(proving, [channel], Math.SQRT2 * mostV, size)
    const change = sleep(proving.port.clock, 1000 * overPart * recordS(size), proving.port.signal)
      .then(() => driven.change(channel, tone(restDb)))
    const [heard] = await Promise.all([capture, change])
    const ohm = driven.loads[channel]?.ohm?.value ?? null
    const [volts] = heard.volts as [Float64Array]
    withinCeilings(proving, channel, rmsOf(volts.subarray(0, Math.floor(volts.length / 4))), ohm)
    return { ...toldIn(volts, heard.sampleHz, { hz, channel }), ohm }
  })
  const periodS = 1 / hz
  const isShort = told.seconds < periodS
  return figureOf({
    quantity: 'overload recovery', channel, value: isShort ? periodS : told.seconds,
    ...isShort && { bound: 'at most' as const },
    parts: [{ label: 'length of a period', u: periodS / 2 / Math.sqrt(3) }],
    conditions: {
      frequencyHz: hz, driven: 'one', overloadDb: overDb, ...told.ohm === null ? {} : { loadOhm: told.ohm },
    },
    notes: [
      `from ${overDb} dB above the input at which it clips (1 %) to ${-restDb} dB below that`,
      `itself again: within ${100 * settledShare} % of the tone that remains, and as little DC`,
    ],
  })
}
/** A unit that clips later than rated gives more than its rated volts. */
const squareShare = 1.12

const recordOf = ({ port }: Proving): RecordSize => {
  const sampleHz = [...port.digitizer.sampleRatesHz].sort((a, b) => a - b).find(rate => rate >= 40_000)
    ?? Math.max(...port.digitizer.sampleRatesHz)
  return { sampleHz, samples: Math.min(port.digitizer.samplesMost, Math.round(seconds * sampleHz)) }
}

function toldIn(
  volts: Float64Array, sampleHz: number, { hz, channel }: { hz: number; channel: string },
): Recovery {
  try {
    return recoveryIn(volts, sampleHz, hz)
  } catch (error) {
    if (!(error instanceof RangeError)) throw error
    throw new BenchError('NO_READING', `channel ${channel}: ${error.message}`, {}, error)
  }
}

export interface Recovery { readonly seconds: number; readonly fellAtS: number }

/**
 * Period by period in steps of a quarter of one: from when the tone fell to when amplitude and mean stay at
 * what they are in the last quarter of the record. RangeError where no fall is found.
 */
export function recoveryIn(volts: ArrayLike<number>, sampleHz: number, hz: number): Recovery {
  const per = Math.max(4, Math.round(sampleHz / hz))
  const hop = Math.max(1, Math.floor(per / 4))
  const windows: { at: number; amplitude: number; mean: number }[] = []
  for (let at = 0; at + per <= volts.length; at += hop) windows.push({ at, ...periodOf(volts, at, per) })
  const lasts = windows.slice(Math.floor(windows.length * 3 / 4))
  const mean = (of: (one: (typeof windows)[number]) => number): number =>
    lasts.reduce((sum, one) => sum + of(one), 0) / lasts.length
  const [amplitude, dc] = [mean(one => one.amplitude), mean(one => one.mean)]
  const first = windows[0]!.amplitude
  if (!(first > 1.5 * amplitude)) throw new RangeError('the fall of the tone is not in the record')
  const fell = windows.findIndex(one => one.amplitude < (first + amplitude) / 2)
  const isOff = (one: (typeof windows)[number]): boolean =>
    Math.abs(one.amplitude / amplitude - 1) > settledShare
      || Math.abs(one.mean - dc) > settledShare * amplitude
  let last = fell
  windows.forEach((one, i) => { if (i >= fell && isOff(one)) last = i })
  const halfPeriod = per / 2
  const samples = windows[Math.min(last + 1, windows.length - 1)]!.at - windows[fell]!.at - halfPeriod
  return { seconds: Math.max(0, samples) / sampleHz, fellAtS: (windows[fell]!.at + halfPeriod) / sampleHz }
}

/** Amplitude of its fundamental, and mean. */
function periodOf(volts: ArrayLike<number>, at: number, per: number): { amplitude: number; mean: number } {
  let [re, im, sum] = [0, 0, 0]
  for (let i = 0; i < per; i++) {
    const value = volts[at + i]!
    re += value * Math.cos(2 * Math.PI * i / per)
    im += value * Math.sin(2 * Math.PI * i / per)
    sum += value
  }
  return { amplitude: 2 * Math.hypot(re, im) / per, mean: sum / per }
}
