/**
 * THD and THD+N of the unit alone: what generator and digitizer add is taken off by squares, as the phase at
 * which the unit hands it on is not known; where it is within 3 dB of all, only a bound is told.
 */
import { audioBand, type Band } from '../analysis/audio/spectrum.ts'
import type { UncertaintyComponent } from '../analysis/uncertainty.ts'
import { BenchError } from '../base/errors.ts'
import type { Conditions, Figure } from '../schema/figure.ts'
import { figureOf } from './budget.ts'
import { ownAt, silentBehind, silentPower } from './floor.ts'
import type { ToneHeard } from './hear-tone.ts'
import { hearAtOutput } from './level.ts'
import { belowShare, levelPart, slopeOf, type AtWatts } from './level-slope.ts'
import type { Known } from './port.ts'
import { loadOhmOf, type Proving } from './proving.ts'

export type DistortionOf = 'thd' | 'thd+n'

export interface Distortion {
  readonly value: number
  readonly bound?: 'at most'
  readonly parts: readonly UncertaintyComponent[]
  /** Noise is new with every capture; the rest is the same each time. */
  readonly noiseU: number
  readonly steadyU: number
  readonly notes: readonly string[]
}

/** Of a figure that is a bound. */
export const hiddenWords =
  'generator and digitizer alone read within 3 dB of it: the figure is what all of them could hide'

/** Half of the power: within 3 dB. */
const ownShareMost = 0.5

/** Of orders 2 to `orders` as a share of the fundamental, or of all in the band as a share of the whole. */
export function distortionOf(
  proving: Proving, channel: string, heard: ToneHeard, of: DistortionOf, orders: number,
): Distortion {
  if (heard.harmonics.length === 0 && heard.rest.value === 0) {
    throw new BenchError('NO_READING', `channel ${channel}: no distortion can be told of so short a record`, {
      expected: 'harmonics, or what lies between them', got: heard.how,
    })
  }
  const own = ownAt(proving.floor, channel, heard.hz, heard.levelV)
  const whole = heard.fundamental.value
  const isCounted = (order: number, hz: number): boolean => of === 'thd' ? order <= orders
    : hz >= heard.band.fromHz && hz <= heard.band.toHz
  const lines = heard.harmonics.filter(({ order, hz }) => isCounted(order, hz))
  const added = own.harmonics.filter(({ order }) => lines.some(line => line.order === order))
  const noise = of === 'thd' ? { value: lines.reduce((sum, one) => sum + one.noise, 0) / whole, u: 0 }
    : benchNoise(proving, channel, heard, own.noise)
  const net = lines.reduce((sum, one) => sum + one.value, 0) / whole
  const rest = of === 'thd' ? { value: 0, u: 0 }
    : { value: heard.rest.value / whole, u: heard.rest.u / whole }
  const gross = net + (of === 'thd' ? noise.value : rest.value)
  const residual = added.reduce((sum, one) => sum + one.value, 0)
  const noiseU = Math.hypot(rest.u, ...lines.map(one => one.u / whole))
  const phaseU = Math.sqrt(added.reduce((sum, one) => {
    const line = lines.find(({ order }) => order === one.order)!
    return sum + 2 * Math.max(0, line.value / whole - one.value) * one.value
  }, 0))
  const parts = { noiseU, phaseU, residualU: Math.hypot(noise.u, ...added.map(one => one.u)) }
  return told({ gross, own: residual + noise.value, residual, ...parts, of })
}

/** Of generator and digitizer in the band, as a share of the square of the fundamental. */
function benchNoise(proving: Proving, channel: string, heard: ToneHeard, generator: Known): Known {
  const silence = silentBehind(proving.floor, channel, heard, proving.port.digitizer.divider)
  const digitizer = silence === null ? { value: 0, u: 0 } : silentPower(silence, heard.band)
  const whole = heard.fundamental.value
  return { value: generator.value + digitizer.value / whole, u: Math.hypot(generator.u, digitizer.u / whole) }
}

interface Squares {
  readonly gross: number; readonly own: number; readonly residual: number
  readonly noiseU: number; readonly phaseU: number; readonly residualU: number
  readonly of: DistortionOf
}

function told({ gross, own, residual, noiseU, phaseU, residualU, of }: Squares): Distortion {
  const ofWhole = (square: number): number => of === 'thd' ? square : square / (1 + square)
  if (!(own < ownShareMost * gross)) {
    const value = Math.sqrt(Math.max(gross, 0)) + Math.sqrt(residual)
    const u = value === 0 ? Math.sqrt(noiseU) : Math.min(noiseU / (2 * value), Math.sqrt(noiseU))
    return {
      value: Math.sqrt(ofWhole(value ** 2)), bound: 'at most', noiseU: u, steadyU: 0,
      parts: [{ label: 'noise', u }],
      notes: [hiddenWords],
    }
  }
  const value = Math.sqrt(ofWhole(gross - own))
  const ofSquare = (of === 'thd' ? 1 : 1 / (1 + gross - own) ** 2) / (2 * value)
  return {
    value, noiseU: noiseU * ofSquare, steadyU: Math.hypot(phaseU, residualU) * ofSquare, notes: [],
    parts: [
      { label: 'noise', u: noiseU, sensitivity: ofSquare },
      { label: 'phase of what the bench adds', u: phaseU, sensitivity: ofSquare },
      { label: 'what the bench adds', u: residualU, sensitivity: ofSquare },
    ],
  }
}

export interface DistortionAsked {
  readonly channel: string
  readonly hz: number
  /** Watts at the load that the profile states. */
  readonly outputW: number
  readonly of: DistortionOf
  readonly orders?: number
  readonly band?: Band
  readonly driven: 'one' | 'all'
}
export const distortionDefaults = { orders: 10, band: audioBand } as const

export async function distortionFigure(proving: Proving, asked: DistortionAsked): Promise<Figure> {
  const { channel, hz, of, driven } = asked
  const { orders, band } = { ...distortionDefaults, ...asked }
  const outputV = Math.sqrt(asked.outputW * loadOhmOf(proving, channel))
  const heard = await hearAtOutput(proving, {
    channel, hz, orders, band, driven, outputV, until: 'distortion',
  })
  const below = await hearAtOutput(proving, {
    channel, hz, orders, band, driven, outputV: belowShare * outputV, until: 'once',
  })
  const at = (one: ToneHeard): AtWatts =>
    ({ watts: one.fundamental.value, distortion: distortionOf(proving, channel, one, of, orders).value })
  return distortionFigureOf(proving, { channel, of, orders, driven }, heard, slopeOf(at(heard), at(below)))
}

export function distortionFigureOf(
  proving: Proving,
  { channel, of, orders, driven }: Pick<DistortionAsked, 'channel' | 'of' | 'driven'> & { orders: number },
  heard: ToneHeard, slope: number,
): Figure {
  const distortion = distortionOf(proving, channel, heard, of, orders)
  const ohm = heard.load?.ohm?.value
  const counted = heard.harmonics.filter(({ order }) => order <= orders).at(-1)?.order ?? 1
  const conditions: Conditions = {
    frequencyHz: heard.foundHz, driven, sourceOhm: proving.port.generator.sourceOhm,
    ...ohm === undefined ? {} : { loadOhm: ohm, outputW: heard.fundamental.value / ohm },
    ...of === 'thd' ? { orders: counted } : { bandLowHz: heard.band.fromHz, bandHighHz: heard.band.toHz },
  }
  const meaning = of === 'thd' ? `harmonics 2 to ${counted} as a share of the fundamental`
    : 'all in the band but the fundamental, as a share of the whole'
  return figureOf({
    quantity: of, channel, value: distortion.value, conditions,
    parts: [...distortion.parts, levelPart(distortion.value, slope, heard)],
    ...distortion.bound && { bound: distortion.bound }, notes: [meaning, heard.how, ...distortion.notes],
  })
}
