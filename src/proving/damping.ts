/**
 * Damping factor from the fall of volts between two loads, or no load and one: the source resistance of the
 * output, less what the leads add, into the load that the profile states. Never unloaded for a valve stage.
 */
import { audioBand } from '../analysis/audio/spectrum.ts'
import { numericalSensitivities } from '../analysis/uncertainty.ts'
import { BenchError } from '../base/errors.ts'
import { formatSi } from '../base/format.ts'
import type { Figure } from '../schema/figure.ts'
import { figureOf } from './budget.ts'
import { muted } from './drive.ts'
import { hearTone, levelOf, type ToneHeard } from './hear-tone.ts'
import { learnGain } from './level.ts'
import { rangeFor } from './listen.ts'
import { channelOf, loadOhmOf, type Proving } from './proving.ts'

export interface DampingAsked { readonly channel: string; readonly hz: number; readonly outputW: number }

/** Within this of what the profile states a load is the one it states. */
export const loadShare = 0.1
const orders = 2

/**
 * The other load: null, which is no load, for a stage that bears it; otherwise the largest step that it
 * bears.
 */
export function otherLoad(
  stepsOhm: readonly number[], ratedOhm: number, isValve: boolean,
): number | null | 'none' {
  if (!isValve) return null
  const others = stepsOhm.filter(ohm => ohm > ratedOhm * (1 + loadShare) && ohm <= valveMost * ratedOhm)
  return others.length > 0 ? Math.max(...others) : 'none'
}
export const noOtherLoad =
  'a valve stage never runs without a load, and the bench has no second one up to twice as high'
/** A valve stage is not led further from its load than this (common practice: twice is harmless). */
const valveMost = 2.1

export async function dampingFigure(proving: Proving, asked: DampingAsked): Promise<Figure> {
  const { channel, hz, outputW } = asked
  const { output } = channelOf(proving, channel)
  const ratedOhm = loadOhmOf(proving, channel)
  const other = otherLoad(proving.port.loadStepsOhm, ratedOhm, output.isValve)
  if (other === 'none') throw new BenchError('REFUSED', `${channel}: ${noOtherLoad}`)
  const outputV = Math.sqrt(outputW * ratedOhm)
  const levelV = outputV / await learnGain(proving, channel)
  const rangeV = rangeFor(proving, Math.SQRT2 * outputV * 1.1)
  const heardOn = async (unloaded: boolean): Promise<ToneHeard> => hearTone(proving, {
    channel, hz, orders, band: audioBand, levels: { [channel]: levelV }, outputV: { [channel]: outputV },
    rangeV, unloaded,
  })
  const loaded = await heardOn(false)
  let light: ToneHeard
  try {
    await muted(proving)
    await proving.port.connectLoad(channel, other)
    light = await heardOn(other === null)
  } finally {
    await muted(proving)
    await proving.port.connectLoad(channel, ratedOhm)
  }
  return figureFor(proving, asked, loaded, light)
}

/** Source resistance from volts at two loads; null is no load. */
export function sourceOhm(ratio: number, heavyOhm: number, lightOhm: number | null): number {
  return (ratio - 1) / (1 / heavyOhm - ratio * (lightOhm === null ? 0 : 1 / lightOhm))
}

/**
 * Below so many of its uncertainties a source resistance is told as a bound: its inverse is not spread
 * evenly.
 */
const clearOf = 4

function figureFor(
  proving: Proving, { channel, outputW }: DampingAsked, loaded: ToneHeard, light: ToneHeard,
): Figure {
  const loadOhm = loadOhmOf(proving, channel)
  const heavy = loaded.load!
  const [a, b] = [levelOf(loaded), levelOf(light)]
  const lightOhm = light.load?.kind === 'open' ? null : light.load!.ohm!
  const inputs = [a.value, b.value, heavy.ohm!.value, lightOhm?.value ?? 1, heavy.leadOhm.value]
  const model = ([va, vb, heavyOhm, other, lead]: number[]): number =>
    sourceOhm(vb! / va!, heavyOhm!, lightOhm === null ? null : other!) - lead!
  const source = model(inputs)
  const us = [a.u, b.u, heavy.ohm!.u, lightOhm?.u ?? 0, heavy.leadOhm.u]
  const sensitivities = numericalSensitivities(model, inputs, us)
  const parts = ['noise at the load', 'noise at the other load', 'load', 'other load', 'leads']
    .map((label, i) => ({ label, u: us[i]!, ohm: sensitivities[i]! }))
  const u = Math.hypot(...parts.map(part => part.u * part.ohm))
  const isClear = source > clearOf * u
  const told = isClear ? source : Math.max(0, source) + 2 * u
  const value = loadOhm / told
  return figureOf({
    quantity: 'damping factor', channel, value, ...isClear ? {} : { bound: 'at least' as const },
    parts: parts.map(({ label, u: one, ohm }) =>
      ({ label, u: one, sensitivity: isClear ? -value / told * ohm : 0 })),
    conditions: { frequencyHz: loaded.foundHz, loadOhm, outputW, driven: 'one' },
    notes: [
      `${formatSi(told, 'Ω')} source resistance, ${formatSi(heavy.leadOhm.value, 'Ω')} of leads taken off, `
        + (lightOhm === null ? 'from no load and one'
          : `from ${formatSi(heavy.ohm!.value, 'Ω')} and ${formatSi(lightOhm.value, 'Ω')}`),
      `an error of 0.01 % of one reading is ${(1e-2 * value).toPrecision(2)} % of it: it grows with it`,
      'both readings on one range: its scale drops out, and is taken to have stood between them',
      ...isClear ? [] : ['it cannot be told from the leads and the noise'],
    ],
  })
}
