/** Gain over frequency by stepped sines: deviation in a band, −3 dB points, error of a phono equalisation. */
import { equalisations, type EqualisationName } from '../analysis/audio/equalisation.ts'
import { audioBand } from '../analysis/audio/spectrum.ts'
import type { Conditions, Figure } from '../schema/figure.ts'
import { figureOf, perShareDb } from './budget.ts'
import { findCorner } from './crossing.ts'
import { responseCurve } from './curves.ts'
import { sourceLevel } from './floor.ts'
import { hearTone, levelOf, type ToneHeard } from './hear-tone.ts'
import { learnGain } from './level.ts'
import { rangeFor } from './listen.ts'
import type { Known } from './port.ts'
import { channelOf, limitsOf, loadOhmOf, type Planned, type Proving } from './proving.ts'

export interface ResponseAsked {
  readonly channel: string
  /** At 1 kHz. */
  readonly outputW: number
  /** What the unit is meant to do: it is driven so that its output stays level, and told against it. */
  readonly against?: EqualisationName
}

export const referenceHz = 1000
const orders = 2

/** Third octaves from 1 kHz outwards, and both ends. */
export function responseFrequencies(fromHz: number, toHz: number, perOctave = 3): number[] {
  const list: number[] = []
  const [first, last] = [fromHz, toHz].map(hz => perOctave * Math.log2(hz / referenceHz)) as [number, number]
  for (let i = Math.ceil(first - 1e-9); i <= last + 1e-9; i++) list.push(referenceHz * 2 ** (i / perOctave))
  const ends = [fromHz, toHz].filter(hz => list.every(one => Math.abs(one / hz - 1) > 0.01))
  return [...list, ...ends].sort((a, b) => a - b)
}

/**
 * Level of the generator at 1 kHz of which loop-backs were made over frequency: at others its response is
 * taken to be the same.
 */
export const responseLevelV = (proving: Planned, channel: string): number =>
  responseShare * Math.min(channelOf(proving, channel).input.levelMaxV, limitsOf(proving, channel).driveMaxV)
const responseShare = 0.05

/** Level of the generator at this frequency for one that is 1 at 1 kHz. */
export const driveShare = (hz: number, against?: EqualisationName): number =>
  against ? 10 ** (-equalisations[against](hz) / 20) : 1

export interface ResponsePoint { readonly hz: number; readonly db: Known; readonly heard: ToneHeard }

interface Stepper {
  readonly levelV: number
  readonly reference: Known
  readonly heard: ToneHeard
  at(hz: number): Promise<ResponsePoint>
}

/** Everything is heard on one range, in the unit and in loop-back alike: scales drop out. */
async function stepper(proving: Proving, { channel, outputW, against }: ResponseAsked): Promise<Stepper> {
  const outputV = Math.sqrt(outputW * loadOhmOf(proving, channel))
  const levelV = outputV / await learnGain(proving, channel)
  const loopV = responseLevelV(proving, channel)
  const rangeV = rangeFor(proving, Math.SQRT2 * outputV)
  const gainAt = async (hz: number): Promise<{ gain: Known; heard: ToneHeard }> => {
    const level = levelV * driveShare(hz, against)
    const heard = await hearTone(proving, {
      channel, hz, orders, band: audioBand, levels: { [channel]: level }, rangeV,
      outputV: { [channel]: outputV },
    })
    const source = sourceLevel(proving.floor, channel, heard.hz, loopV * driveShare(hz, against), 1)
    const { value, u } = levelOf(heard)
    const share = Math.hypot(u / value, source.noiseU / source.share, source.betweenU / source.share)
    const gain = value / (level * source.share)
    return { heard, gain: { value: gain, u: share * gain } }
  }
  const { gain: reference, heard } = await gainAt(referenceHz)
  return {
    levelV, reference, heard, at: async hz => {
      if (hz === referenceHz) return { hz: heard.hz, db: { value: 0, u: 0 }, heard }
      const { gain, heard: there } = await gainAt(hz)
      return {
        hz: there.hz, heard: there, db: {
          value: deviationDb(gain.value / reference.value, there.hz, heard.hz, against),
          u: perShareDb * Math.hypot(gain.u / gain.value, reference.u / reference.value),
        },
      }
    },
  }
}

/** Of a gain over that at the reference frequency, against what is meant there. */
export function deviationDb(ratio: number, hz: number, ofHz: number, against?: EqualisationName): number {
  const meantDb = against ? equalisations[against](hz) - equalisations[against](ofHz) : 0
  return 20 * Math.log10(ratio) - meantDb
}

export async function responsePoints(
  proving: Proving, asked: ResponseAsked, frequenciesHz: readonly number[],
): Promise<ResponsePoint[]> {
  const { at } = await stepper(proving, asked)
  const points: ResponsePoint[] = []
  for (const hz of frequenciesHz) {
    points.push(await at(hz))
    proving.port.tell({ what: 'response', channel: asked.channel, done: points.length,
      of: frequenciesHz.length })
  }
  return points
}

/** The points that lie highest and lowest. */
export function spreadOf<T extends { readonly db: Known }>(points: readonly T[]): { most: T; least: T } {
  const [most, least] = [1, -1].map(sign =>
    points.reduce((far, one) => sign * one.db.value > sign * far.db.value ? one : far)) as [T, T]
  return { most, least }
}

/** Between what was heard in loop-back and at the unit: other ranges, and a divider (our own assumption). */
const flatPart = { label: 'ranges and dividers that are not flat', u: 0.005 } as const

export interface DeviationAsked extends ResponseAsked { readonly fromHz: number; readonly toHz: number }

/** Of a flat response, or, against a curve, of an equalisation; aligned at 1 kHz. */
export async function deviationFigures(proving: Proving, asked: DeviationAsked): Promise<Figure[]> {
  const { channel, fromHz, toHz, against } = asked
  const points = await responsePoints(proving, asked, responseFrequencies(fromHz, toHz))
  const { most, least } = spreadOf(points)
  const loadOhm = loadOhmOf(proving, channel)
  if (!against) proving.curves.push(responseCurve(points, { channel, outputW: asked.outputW, loadOhm }))
  return [most, least].map(({ db, hz, heard }) => figureOf({
    quantity: against ? 'equalisation error' : 'response deviation', channel, value: db.value,
    parts: [{ label: 'noise, and the generator between loop-backs', u: db.u }, flatPart],
    conditions: {
      ...conditionsOf(proving, heard), outputW: asked.outputW, bandLowHz: fromHz, bandHighHz: toHz,
      ...against && { curve: against },
    },
    notes: [
      `${signedDb(least.db.value)} to ${signedDb(most.db.value)} at ${points.length} frequencies, 0 at 1 kHz`,
      `this at ${hz.toPrecision(4)} Hz`, ...against ? [curveWords[against]] : [], heard.how,
    ],
  }))
}
const curveWords: Readonly<Record<EqualisationName, string>> = {
  riaa: 'against 3180, 318 and 75 µs', iec: 'against 3180, 318, 75 and 7950 µs',
}
const signedDb = (db: number): string => `${db < 0 ? '' : '+'}${db.toFixed(3)} dB`

const conditionsOf = ({ port }: Proving, { load }: ToneHeard): Conditions => {
  const ohm = load?.ohm?.value
  return { sourceOhm: port.generator.sourceOhm, driven: 'one', ...ohm === undefined ? {} : { loadOhm: ohm } }
}

export interface CornerFigureAsked extends ResponseAsked {
  readonly towards: 'low' | 'high'
  readonly endHz: number
  readonly limitDb?: number
}
/** Half power. */
const cornerDb = -3
const cornerNearDb = 0.02

export async function cornerFigure(proving: Proving, asked: CornerFigureAsked): Promise<Figure> {
  const { channel, towards, endHz, limitDb = cornerDb } = asked
  const { at } = await stepper(proving, asked)
  let last = await at(referenceHz)
  const corner = await findCorner(async hz => {
    last = await at(hz)
    proving.port.tell({ what: `${limitDb} dB point`, channel, done: 0, of: 1 })
    return { hz: last.hz, db: last.db.value }
  }, { fromHz: referenceHz, towards, endHz, limitDb, nearDb: cornerNearDb })
  const hz = corner?.hz ?? last.hz
  const perDb = corner ? hz / Math.abs(corner.dbPerE) : 0
  return figureOf({
    quantity: towards === 'low' ? 'response low' : 'response high', channel, value: hz,
    ...corner ? {} : { bound: towards === 'low' ? 'at most' as const : 'at least' as const },
    parts: [
      { label: 'noise, and the generator between loop-backs', u: last.db.u, sensitivity: perDb },
      { ...flatPart, sensitivity: perDb },
      { label: 'steps', u: Math.abs(corner?.leftDb ?? 0) / 2, sensitivity: perDb },
    ],
    conditions: { ...conditionsOf(proving, last.heard), outputW: asked.outputW, bandDb: Math.abs(limitDb) },
    notes: [
      `${limitDb} dB against 1 kHz`, last.heard.how,
      ...corner ? [] : [`the bench reaches no further: ${signedDb(last.db.value)} there`],
    ],
  })
}
