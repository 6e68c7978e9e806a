/** Power bandwidth: how far down and up the watts come out at the limit of distortion. */
import { audioBand, type Band } from '../analysis/audio/spectrum.ts'
import { hasCode } from '../base/errors.ts'
import type { Figure } from '../schema/figure.ts'
import { figureOf } from './budget.ts'
import { findCorner, type CurvePoint } from './crossing.ts'
import { distortionOf, type Distortion, type DistortionOf } from './distortion.ts'
import { toneSize } from './hear-tone.ts'
import { hearAtOutput } from './level.ts'
import { placedHz } from './listen.ts'
import { loadOhmOf, type Proving } from './proving.ts'

export interface BandwidthAsked {
  readonly channel: string
  /** What must still come out; half of the rated watts, as usage has it. */
  readonly outputW: number
  readonly limit: number
  readonly of: DistortionOf
  readonly orders?: number
  readonly band?: Band
  readonly towards: 'low' | 'high'
  readonly endHz: number
  readonly driven: 'one' | 'all'
}

const startHz = 1000
/** Where the watts do not come out at all, it is as far over the limit as this. */
const lostDb = -20
const nearDb = 0.5
/** Of the volts that must come out. */
const nearShare = 2e-3

export async function powerBandwidthFigure(proving: Proving, asked: BandwidthAsked): Promise<Figure> {
  const { channel, limit, of, towards, driven, endHz } = asked
  const { orders = 10, band = audioBand } = asked
  const outputV = Math.sqrt(asked.outputW * loadOhmOf(proving, channel))
  let scaleU = 0
  let last: { hz: number; told: Distortion | null } = { hz: startHz, told: null }
  const roomAt = async (hz: number): Promise<CurvePoint> => {
    const size = toneSize(proving, { hz, orders, band })
    const heardHz = placedHz(proving, hz, size)
    const told = await distortionAt(hz)
    last = { hz, told }
    proving.port.tell({ what: 'power bandwidth', channel, done: 0, of: 1 })
    const db = told === null ? lostDb : -20 * Math.log10(told.value / limit)
    return { hz: heardHz, db: Math.max(lostDb, db), ...told === null && { isLost: true } }
  }
  const distortionAt = async (hz: number): Promise<Distortion | null> => {
    try {
      const heard = await hearAtOutput(
        proving, { channel, hz, orders, band, driven, outputV, until: 'once', near: nearShare })
      scaleU = heard.gainU
      return distortionOf(proving, channel, heard, of, orders)
    } catch (error) {
      // It does not come up, or not within its ceilings.
      if (hz !== startHz && hasCode(error, 'REFUSED', 'NO_READING')) return null
      throw error
    }
  }
  const isAtStart = (await roomAt(startHz)).db > 0
  const corner = isAtStart
    ? await findCorner(roomAt, { fromHz: startHz, towards, endHz, limitDb: 0, nearDb }) : null
  const hz = corner?.hz ?? last.hz
  const isLow = towards === 'low'
  const perDb = corner ? hz / Math.abs(corner.dbPerE) : 0
  const toldU = last.told === null ? 0 : Math.hypot(last.told.noiseU, last.told.steadyU) / last.told.value
  const bound = corner ? undefined : (isAtStart === isLow ? 'at most' as const : 'at least' as const)
  return figureOf({
    quantity: isLow ? 'power bandwidth low' : 'power bandwidth high', channel, value: hz,
    ...bound && { bound },
    parts: [
      // Saturation and slewing go with volts over, or times, frequency.
      { label: 'level', u: corner ? Math.hypot(nearShare / Math.sqrt(3), scaleU) : 0, sensitivity: hz },
      { label: 'distortion', u: 20 / Math.LN10 * toldU, sensitivity: perDb },
      { label: 'steps', u: Math.abs(corner?.leftDb ?? 0) / 2, sensitivity: perDb },
    ],
    conditions: {
      outputW: asked.outputW, distortion: limit, distortionOf: of, driven,
      loadOhm: loadOhmOf(proving, channel),
      ...of === 'thd' ? { orders } : { bandLowHz: band.fromHz, bandHighHz: band.toHz },
    },
    notes: [
      ...corner ? [] : [isAtStart ? 'the bench reaches no further' : 'the limit is not kept at 1 kHz either'],
    ],
  })
}
