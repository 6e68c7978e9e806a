/** Courses worth drawing, kept beside the figures that they were measured for. */
import { audioBand, spectrumIn, transformed, type Spectrum } from '../analysis/audio/spectrum.ts'
import { formatSi } from '../base/format.ts'
import type { Curve } from '../schema/unit-findings.ts'
import type { DistortionOf } from './distortion.ts'
import { whileDriven, upS, withinCeilings } from './drive.ts'
import { rmsOf, toneSize } from './hear-tone.ts'
import { hearAtOutput } from './level.ts'
import { hear, recordS } from './listen.ts'
import { loadOhmOf, type Proving } from './proving.ts'
import { windowFor } from './tone-powers.ts'

type Axis = Curve['x']
const logarithmic = (label: string, unit: string, values: readonly number[]): Axis =>
  ({ label, unit, scale: 'log', values: [...values] })

export function responseCurve(
  points: readonly { readonly hz: number; readonly db: { readonly value: number } }[],
  { channel, outputW, loadOhm }: { channel: string; outputW: number; loadOhm: number },
): Curve {
  return {
    name: 'response', channel, x: logarithmic('frequency', 'Hz', points.map(({ hz }) => hz)),
    y: {
      label: 'level against 1 kHz', unit: 'dB', scale: 'linear', values: points.map(({ db }) => db.value),
    },
    under: `stepped sines at ${formatSi(outputW, 'W')} into ${formatSi(loadOhm, 'Ω')}, this channel driven`,
  }
}

export interface DistortionCourse {
  readonly channel: string
  readonly of: DistortionOf
  readonly driven: 'one' | 'all'
  readonly loadOhm: number
}
const drivenWords = { one: 'this channel driven', all: 'all channels driven' } as const
const distortionWords = { thd: 'THD', 'thd+n': 'THD+N' } as const

/**
 * Shares on the y axis; `steps` by rising drive. Where more drive gives fewer watts, as of a stage that
 * blocks when it clips, the course ends.
 */
export function powerCurve(
  steps: readonly { readonly watts: number; readonly distortion: number }[],
  { channel, of, driven, loadOhm, hz }: DistortionCourse & { hz: number },
): Curve {
  const told = steps.filter(({ watts, distortion }) => watts > 0 && distortion > 0)
  const back = told.findIndex(({ watts }, i) => i > 0 && watts <= told[i - 1]!.watts)
  const drawn = back === -1 ? told : told.slice(0, back)
  return {
    name: 'distortion against power', channel,
    x: logarithmic('output power', 'W', drawn.map(({ watts }) => watts)),
    y: logarithmic(distortionWords[of], '1', drawn.map(({ distortion }) => distortion)),
    under: `${formatSi(hz, 'Hz')} into ${formatSi(loadOhm, 'Ω')}, ${drivenWords[driven]}`,
  }
}

/** Fewer points than these are no course. */
const pointsLeast = 3

/** Of figures of one level at several frequencies; null where there are too few. */
export function frequencyCurve(
  points: readonly { readonly hz: number; readonly distortion: number }[],
  { channel, of, driven, loadOhm, outputW }: DistortionCourse & { outputW: number },
): Curve | null {
  if (points.length < pointsLeast) return null
  const drawn = [...points].sort((a, b) => a.hz - b.hz)
  return {
    name: 'distortion against frequency', channel,
    x: logarithmic('frequency', 'Hz', drawn.map(({ hz }) => hz)),
    y: logarithmic(distortionWords[of], '1', drawn.map(({ distortion }) => distortion)),
    under: `${formatSi(outputW, 'W')} into ${formatSi(loadOhm, 'Ω')}, ${drivenWords[driven]}`,
  }
}

const spectrumHz = 1000
const orders = 10

/** What one channel gives at 1 kHz and so many watts, dB below the tone. */
export async function spectrumCurve(
  proving: Proving, { channel, outputW }: { channel: string; outputW: number },
): Promise<Curve> {
  const loadOhm = loadOhmOf(proving, channel)
  const outputV = Math.sqrt(outputW * loadOhm)
  const asked = { channel, hz: spectrumHz, orders, band: audioBand }
  const { hz, levelV } = await hearAtOutput(proving, { ...asked, driven: 'one', outputV, until: 'once' })
  const size = toneSize(proving, asked)
  const tones = { [channel]: [{ frequencyHz: hz, levelV }] }
  const forS = upS(proving, tones[channel]!) + 2 * recordS(size)
  const drive = { tones, forS, outputV: { [channel]: outputV } }
  const spectrum = await whileDriven(proving, drive, async driven => {
    const heard = await hear(proving, [channel], Math.SQRT2 * outputV, size)
    const [volts] = heard.volts as [Float64Array]
    withinCeilings(proving, channel, rmsOf(volts), driven.loads[channel]?.ohm?.value ?? null)
    const record = transformed(volts, heard.sampleHz)
    return spectrumIn(record, windowFor(record, [hz]).window)
  })
  const { hertz, decibels } = thinned(spectrum, spectrumHz)
  return {
    name: 'spectrum', channel, x: logarithmic('frequency', 'Hz', hertz),
    y: { label: 'level against the tone', unit: 'dB', scale: 'linear', values: decibels },
    under: `${formatSi(spectrumHz, 'Hz')} at ${formatSi(outputW, 'W')} into ${formatSi(loadOhm, 'Ω')}, `
      + `one record of ${formatSi(recordS(size), 's')}, ${spectrum.window} window, the highest of each step`,
  }
}

const pointsMost = 600
const [fromHz, leastDb] = [10, -200]

/** Steps of equal ratio, each with the highest bin in it; 0 dB is the highest bin of all. */
export function thinned(
  { power, binHz }: Pick<Spectrum, 'power' | 'binHz'>, ofHz: number,
): { hertz: number[]; decibels: number[] } {
  const toHz = (power.length - 1) * binHz
  const ratio = (toHz / fromHz) ** (1 / pointsMost)
  const around = Math.round(ofHz / binHz)
  const whole = Math.max(...power.subarray(Math.max(0, around - 3), around + 4))
  const hertz: number[] = []
  const decibels: number[] = []
  for (let i = 0, bin = Math.ceil(fromHz / binHz); i < pointsMost && bin < power.length; i++) {
    const end = Math.min(power.length, Math.floor(fromHz * ratio ** (i + 1) / binHz) + 1)
    if (end <= bin) continue
    let best = bin
    for (let k = bin; k < end; k++) if (power[k]! > power[best]!) best = k
    hertz.push(best * binHz)
    decibels.push(Math.max(leastDb, 10 * Math.log10(power[best]! / whole)))
    bin = end
  }
  return { hertz, decibels }
}
