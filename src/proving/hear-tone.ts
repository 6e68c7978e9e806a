/** Drives a tone and hears what comes of it: captures are averaged until noise counts little. */
import type { Band } from '../analysis/audio/spectrum.ts'
import { BenchError } from '../base/errors.ts'
import type { DriveTone } from '../schema/unit-roles.ts'
import { upS, whileDriven, withinCeilings, type Driven } from './drive.ts'
import { hear, placedHz, recordFor, recordS, type Heard, type RecordSize } from './listen.ts'
import type { Known, LoadState } from './port.ts'
import { limitsOf, type Planned, type Proving } from './proving.ts'
import { meanOf, type Repeated } from './repeats.ts'
import { tonePowers, type HarmonicPower, type ToneAsked, type TonePowers } from './tone-powers.ts'

export interface HearAsked extends ToneAsked {
  readonly channel: string
  /** By channel that is driven, this one among them, RMS volts that the generator is set to. */
  readonly levels: Readonly<Record<string, number>>
  /** Expected at the outputs, by channel; by the gain that is known where it is left out. */
  readonly outputV?: Readonly<Record<string, number>>
  /** Whose uncertainty decides when enough was captured. */
  readonly until?: 'level' | 'distortion' | 'once'
  readonly unloaded?: boolean
  readonly size?: RecordSize
  /** Captured on this range and no other, so that its scale drops out of a ratio. */
  readonly rangeV?: number
}

/** What all captures together show. */
export interface ToneHeard {
  /** As the generator was asked, and as found. */
  readonly hz: number
  readonly foundHz: number
  readonly how: string
  readonly levelV: number
  readonly fundamental: Repeated
  readonly harmonics: readonly (HarmonicPower & Repeated)[]
  readonly rest: Repeated
  readonly band: Band
  readonly rangeV: number
  readonly sampleHz: number
  readonly gainU: number
  readonly captures: number
  readonly load: LoadState | null
  /** What an AC meter read of all of it meanwhile, V; null where there is none. */
  readonly meter: Known | null
}

/** Volts of the fundamental, RMS, and what noise leaves open. */
export const levelOf = ({ fundamental }: { readonly fundamental: Known }): Known => {
  const value = Math.sqrt(Math.max(0, fundamental.value))
  return { value, u: fundamental.u / (2 * value) }
}

/** Volts RMS of the fundamental and all that is counted beside it. */
type Powers = Pick<ToneHeard, 'fundamental' | 'harmonics' | 'rest'>
export const wholeOf = ({ fundamental, harmonics, rest }: Powers): number =>
  Math.sqrt(Math.max(0, fundamental.value + sumOf(harmonics, Infinity).value + rest.value))

export interface OutputLevel {
  /** RMS of the fundamental. */
  readonly value: number
  readonly noiseU: number
  /**
   * Standard uncertainty of its scale as a share, and what that scale is of: one scale drops out of ratios.
   */
  readonly scaleU: number
  readonly scaleOf: string
}

/** By whichever of digitizer and AC meter knows its scale better. */
export function outputLevel(heard: ToneHeard, channel: string): OutputLevel {
  const { value, u } = levelOf(heard)
  const { meter, gainU, rangeV } = heard
  if (meter !== null && meter.value > 0 && meter.u / meter.value < gainU) {
    const fundamental = meter.value * value / wholeOf(heard)
    return { value: fundamental, noiseU: u, scaleU: meter.u / meter.value, scaleOf: 'the AC meter' }
  }
  return { value, noiseU: u, scaleU: gainU, scaleOf: `the digitizer on ${rangeV} V of ${channel}` }
}

export const toneSize = (proving: Planned, { hz, orders, band }: ToneAsked): RecordSize =>
  recordFor(proving, { lowHz: hz, topHz: Math.max(band.toHz, hz * Math.min(orders, ordersTold)) })
/** Highest order for whose sake a faster rate is chosen. */
const ordersTold = 5

export async function hearTone(proving: Proving, asked: HearAsked): Promise<ToneHeard> {
  const size = asked.size ?? toneSize(proving, asked)
  const hz = placedHz(proving, asked.hz, size)
  const tones = Object.fromEntries(Object.entries(asked.levels)
    .map(([name, levelV]): [string, DriveTone[]] => [name, [{ frequencyHz: hz, levelV }]]))
  const least = asked.until === 'once' ? 1 : 2
  const forS = upS(proving, Object.values(tones).flat()) + (least + 1) * recordS(size)
  const { outputV, unloaded } = asked
  return whileDriven(
    proving, { tones, forS, ...outputV && { outputV }, ...unloaded && { unloaded } },
    driven => captured(proving, asked, { size, hz, driven }),
  )
}

interface During { readonly size: RecordSize; readonly hz: number; readonly driven: Driven }

async function captured(
  proving: Proving, asked: HearAsked, { size, hz, driven }: During,
): Promise<ToneHeard> {
  const { channel } = asked
  const load = driven.loads[channel] ?? null
  const names = [channel, ...Object.keys(driven.loads).filter(name => name !== channel)]
  const parts: TonePowers[] = []
  let heard: Heard
  let peakV = expectedPeakV(proving, asked)
  do {
    heard = await hear(proving, names, asked.rangeV === undefined ? peakV : asked.rangeV / 1.21, size)
    names.forEach((name, i) =>
      withinCeilings(proving, name, rmsOf(heard.volts[i]!), driven.loads[name]?.ohm?.value ?? null))
    peakV = Math.max(...heard.volts.map(peakOf))
    parts.push(powersIn(heard, { ...asked, hz }, channel))
    proving.port.tell({ what: 'capturing', channel, done: parts.length, of: proving.options.capturesMost })
  } while (wantsMore(proving, asked, parts) && driven.leftS() > 2 * recordS(size))
  const meter = await meterOf(proving, asked)
  return averaged(parts, { heard, hz, levelV: asked.levels[channel] ?? 0, load, meter, band: asked.band })
}

async function meterOf(
  { port, patched }: Proving, { channel, until = 'level', hz }: HearAsked,
): Promise<Known | null> {
  if (patched !== 'unit' || until === 'once' || !port.meter) return null
  if (hz < port.meter.bandMinHz || hz > port.meter.bandMaxHz) return null
  const { value, u, quality } = await port.meter.read(channel)
  return quality === 'good' ? { value, u } : null
}

/** By the gain that is known; a unit that was never heard is looked for from its smallest range on. */
function expectedPeakV(proving: Proving, { levels, outputV }: HearAsked): number {
  if (proving.patched === 'loop') return Math.SQRT2 * Math.max(...Object.values(levels))
  const all = Object.entries(levels).map(([name, levelV]) =>
    Math.min(outputV?.[name] ?? levelV * (proving.gains.get(name) ?? 0), limitsOf(proving, name).outputMaxV))
  return Math.SQRT2 * Math.max(...all)
}

export function powersIn(heard: Heard, asked: ToneAsked, channel: string): TonePowers {
  try {
    return tonePowers(heard.volts[0]!, heard.sampleHz, asked)
  } catch (error) {
    if (!(error instanceof RangeError)) throw error
    throw new BenchError('NO_READING', `channel ${channel}: ${error.message}`, {}, error)
  }
}

function wantsMore(
  proving: Proving, { until = 'level', orders }: HearAsked, parts: readonly TonePowers[],
): boolean {
  const { capturesMost, noiseShare } = proving.options
  if (until === 'once') return false
  if (parts.length < 2) return true
  if (parts.length >= capturesMost) return false
  if (until === 'level') {
    const { value, u } = meanOf(parts.map(one => one.fundamental))
    return u > 2 * noiseShare * value / levelSharper
  }
  const thd = meanOf(parts.map(one => sumOf(one.harmonics, orders)))
  const rest = meanOf(parts.map(one => one.rest))
  // Of a share by its square: twice that of its root.
  return thd.u > 2 * distortionBlunter * noiseShare * Math.max(thd.value, rest.value)
}
/** A level is wanted better than a distortion, whose own meaning ends sooner. */
const levelSharper = 10
const distortionBlunter = 5

export function sumOf(harmonics: readonly HarmonicPower[], orders: number): Known & { noise: number } {
  const counted = harmonics.filter(({ order }) => order <= orders)
  return {
    value: counted.reduce((sum, one) => sum + one.value, 0),
    noise: counted.reduce((sum, one) => sum + one.noise, 0),
    u: Math.hypot(...counted.map(one => one.u)),
  }
}

function averaged(
  parts: readonly TonePowers[],
  told: Pick<ToneHeard, 'hz' | 'levelV' | 'load' | 'meter' | 'band'> & { heard: Heard },
): ToneHeard {
  const [first] = parts as [TonePowers]
  const { heard: { rangeV, sampleHz, gainU }, hz, levelV, load, meter, band } = told
  const shortest = parts.map(one => one.harmonics)
    .reduce((least, one) => one.length < least.length ? one : least)
  return {
    hz, foundHz: first.hz, how: first.how, levelV, load, meter, band, rangeV, sampleHz, gainU,
    captures: parts.length,
    fundamental: meanOf(parts.map(one => one.fundamental)), rest: meanOf(parts.map(one => one.rest)),
    harmonics: shortest.map((harmonic, i) => ({
      ...harmonic, ...meanOf(parts.map(one => one.harmonics[i]!)),
      noise: parts.reduce((sum, one) => sum + one.harmonics[i]!.noise, 0) / parts.length,
    })),
  }
}

export function rmsOf(volts: Float64Array): number {
  let squares = 0
  for (let i = 0; i < volts.length; i++) squares += volts[i]! * volts[i]!
  return Math.sqrt(squares / volts.length)
}

export function peakOf(volts: Float64Array): number {
  let most = 0
  for (let i = 0; i < volts.length; i++) most = Math.max(most, Math.abs(volts[i]!))
  return most
}
