/**
 * Intermodulation by the usual forms: two tones, or a square wave and a sine, whose peak is that of the sine
 * that would give the watts. Each figure names its arithmetic.
 */
import {
  analyseDifference, analyseModulation, analyseTransient, differencePair, modulationPair, transientPair,
  type TonePair,
} from '../analysis/audio/intermodulation.ts'
import { lineWithNoise } from '../analysis/audio/noise-around.ts'
import { audioBand, spectrumIn, transformed, type Spectrum } from '../analysis/audio/spectrum.ts'
import type { WindowName } from '../analysis/audio/windows.ts'
import { BenchError } from '../base/errors.ts'
import type { Figure, intermodulationForms } from '../schema/figure.ts'
import type { DriveTone } from '../schema/unit-roles.ts'
import { figureOf } from './budget.ts'
import { hiddenWords } from './distortion.ts'
import { upS, whileDriven, withinCeilings, type DriveAsked, type Driven } from './drive.ts'
import { ownPair, pairKey } from './floor.ts'
import { peakOf, rmsOf } from './hear-tone.ts'
import { learnGain } from './level.ts'
import { belowShare, levelPart, slopeOf, type AtWatts } from './level-slope.ts'
import { hear, placedHz, recordFor, recordS, type RecordSize } from './listen.ts'
import type { Known, LoadState } from './port.ts'
import { drivenWith, loadOhmOf, type Proving } from './proving.ts'
import { meanOf } from './repeats.ts'
import { windowFor } from './tone-powers.ts'

export type PairForm = (typeof intermodulationForms)[number]

/** The first is what is told where a claim names none. */
export const arithmetics: Readonly<Record<PairForm, readonly string[]>> = {
  smpte: [
    'sidebands of a pair added, pairs by squares, of the high tone',
    'all sidebands by squares, of the high tone',
  ],
  difference: [
    'second and third order by squares, of both tones',
    'second and third order by squares, of the upper tone',
  ],
  transient: ['nine products by squares, of the sine'],
}
const sharesOf = { smpte: [0.8, 0.2], difference: [0.5, 0.5] } as const
export const pairsOf: Readonly<Record<PairForm, TonePair>> = {
  smpte: modulationPair, difference: differencePair,
  transient: { lowHz: transientPair.squareHz, highHz: transientPair.sineHz },
}

export interface PairAsked {
  readonly channel: string
  readonly form: PairForm
  readonly tones: TonePair
  /** By driven channel: the sine of the same peak, RMS volts that the generator is set to. */
  readonly levels: Readonly<Record<string, number>>
}
export interface PairShare {
  readonly arithmetic: string
  readonly share: Known
  /** The sine of the same peak at the output, RMS. */
  readonly sineV: number
  readonly how: string
  readonly captures: number
  readonly gainU: number
  readonly load: LoadState | null
}

export async function pairShares(proving: Proving, asked: PairAsked): Promise<PairShare[]> {
  const size = pairSize(proving, asked)
  const drive = driveOf(proving, asked, size)
  const forS = upS(proving, Object.values(drive.tones).flat()) + 3 * recordS(size)
  return whileDriven(proving, { ...drive, forS }, driven => captured(proving, asked, { size, drive, driven }))
}

/** What lies nearest to another line: the sidebands, or the difference of the tones. */
export function pairSize(
  proving: Proving, { form, tones: { lowHz, highHz } }: Pick<PairAsked, 'form' | 'tones'>,
): RecordSize {
  const apartHz = form === 'difference' ? highHz - lowHz : form === 'smpte' ? lowHz : transientApartHz
  return recordFor(proving, { lowHz: apartHz, topHz: Math.max(audioBand.toHz, 2 * highHz - lowHz) })
}
/** Products of the transient form lie so far from one another at least. */
const transientApartHz = 450

function driveOf(
  proving: Proving, { form, tones: pair, levels }: PairAsked, size: RecordSize,
): Omit<DriveAsked, 'forS'> {
  const each = (tones: (levelV: number) => DriveTone[]): DriveAsked['tones'] =>
    Object.fromEntries(Object.entries(levels).map(([name, levelV]) => [name, tones(levelV)]))
  if (form === 'transient') {
    if (!proving.port.setTransient) {
      throw new BenchError('REFUSED', 'the generator makes no square wave with a sine')
    }
    const transientPeakV = Math.SQRT2 * Math.max(...Object.values(levels))
    return { tones: each(levelV => [{ frequencyHz: transientPair.sineHz, levelV }]), transientPeakV }
  }
  const shares = sharesOf[form]
  const hz = [placedHz(proving, pair.lowHz, size), placedHz(proving, pair.highHz, size)]
  return { tones: each(levelV => hz.map((frequencyHz, i) => ({ frequencyHz, levelV: shares[i]! * levelV }))) }
}

interface During {
  readonly size: RecordSize
  readonly drive: Omit<DriveAsked, 'forS'>
  readonly driven: Driven
}

async function captured(
  proving: Proving, { channel, form, levels }: PairAsked, { size, drive, driven }: During,
): Promise<PairShare[]> {
  const names = [channel, ...Object.keys(levels).filter(name => name !== channel)]
  const gain = proving.patched === 'unit' ? proving.gains.get(channel) ?? 0 : 1
  let peakV = Math.SQRT2 * Math.max(...Object.values(levels)) * gain
  const takes: Take[] = []
  let gainU = 0
  do {
    const heard = await hear(proving, names, peakV, size)
    names.forEach((name, i) =>
      withinCeilings(proving, name, rmsOf(heard.volts[i]!), driven.loads[name]?.ohm?.value ?? null))
    peakV = Math.max(...heard.volts.map(peakOf))
    gainU = heard.gainU
    takes.push(takeOf(heard.volts[0]!, heard.sampleHz, form, drive.tones[channel]!))
    proving.port.tell({ what: `two tones, ${form}`, channel, done: takes.length,
      of: proving.options.capturesMost })
  } while (takes.length < 2 || (isNoisy(proving, takes) && driven.leftS() > 2 * recordS(size)))
  return arithmetics[form].map((arithmetic, i) => {
    const { value, u } = meanOf(takes.map(take => take.squares[i]!))
    const share = Math.sqrt(Math.max(0, value))
    return {
      arithmetic, sineV: takes[0]!.sineV, how: takes[0]!.how, captures: takes.length, gainU,
      load: driven.loads[channel] ?? null,
      share: { value: share, u: share === 0 ? Math.sqrt(u) : Math.min(Math.sqrt(u), u / (2 * share)) },
    }
  })
}

function isNoisy({ options: { capturesMost, noiseShare } }: Proving, takes: readonly Take[]): boolean {
  const { value, u } = meanOf(takes.map(take => take.squares[0]!))
  return takes.length < capturesMost && u > 10 * noiseShare * Math.abs(value)
}

/** Squares of the shares, by arithmetic, less what noise alone reads there. */
interface Take { readonly squares: readonly Known[]; readonly sineV: number; readonly how: string }

function takeOf(volts: Float64Array, sampleHz: number, form: PairForm, tones: readonly DriveTone[]): Take {
  const record = transformed(volts, sampleHz)
  const { window, how } = form === 'transient' ? windowed
    : windowFor(record, tones.map(one => one.frequencyHz))
  const spectrum = spectrumIn(record, window)
  try {
    return { ...sharesIn(volts, sampleHz, form, { tones, window, spectrum }), how }
  } catch (error) {
    if (!(error instanceof RangeError)) throw error
    throw new BenchError('NO_READING', `two tones (${form}): ${error.message}`, {}, error)
  }
}
const windowed = { window: 'hft144d', how: 'window hft144d' } as const

interface Within {
  readonly tones: readonly DriveTone[]
  readonly window: WindowName
  readonly spectrum: Spectrum
}

/** Amplitudes of two lines that are added bring the noise of both twice. */
const addedTwice = 2

function sharesIn(
  volts: Float64Array, sampleHz: number, form: PairForm, { tones, window, spectrum }: Within,
): Omit<Take, 'how'> {
  const noiseOf = (products: readonly { frequencyHz: number }[]): number =>
    products.reduce((sum, { frequencyHz }) => sum + lineWithNoise(spectrum, frequencyHz).floor, 0)
  const square = ({ value, u }: Known, noise: number): Known =>
    ({ value: value * value - noise, u: 2 * value * u })
  if (form === 'transient') {
    const { share, sineRms, products } = analyseTransient(volts, sampleHz, transientPair, window)
    const squares = [square(share, noiseOf(products) / sineRms.value ** 2)]
    return { squares, sineV: peakOf(volts) / Math.SQRT2 }
  }
  const pair = { lowHz: tones[0]!.frequencyHz, highHz: tones[1]!.frequencyHz }
  if (form === 'smpte') {
    const { pairSum, rootSum, products, lowRms, highRms } = analyseModulation(volts, sampleHz, pair, window)
    const noise = noiseOf(products) / highRms.value ** 2
    return {
      squares: [square(pairSum, addedTwice * noise), square(rootSum, noise)],
      sineV: lowRms.value + highRms.value,
    }
  }
  const { both, products, lowRms, highRms } = analyseDifference(volts, sampleHz, pair, window)
  const noise = noiseOf(products.slice(0, 1)) + addedTwice * noiseOf(products.slice(1))
  const sineV = lowRms.value + highRms.value
  const squares = [square(both.ofSum, noise / sineV ** 2), square(both.ofUpper, noise / highRms.value ** 2)]
  return { squares, sineV }
}

export interface IntermodulationAsked {
  readonly channel: string
  readonly form: PairForm
  readonly tones: TonePair
  readonly outputW: number
  readonly arithmetic?: string
  readonly driven: 'one' | 'all'
}

const ownShareMost = 0.5

export async function intermodulationFigure(proving: Proving, asked: IntermodulationAsked): Promise<Figure> {
  const { channel, form, tones, outputW, driven } = asked
  const arithmetic = asked.arithmetic ?? arithmetics[form][0]!
  const outputV = Math.sqrt(outputW * loadOhmOf(proving, channel))
  const levels: Record<string, number> = {}
  for (const name of drivenWith(proving, channel, driven)) {
    levels[name] = outputV / await learnGain(proving, name)
  }
  const shares = await pairShares(proving, { channel, form, tones, levels })
  const found = shares.find(one => one.arithmetic === arithmetic)!
  const own = ownPair(proving.floor, pairKey(channel, form, tones, arithmetic), levels[channel]!)
  const { share, sineV, load, how } = found
  const lower = Object.fromEntries(Object.entries(levels).map(([name, level]) => [name, belowShare * level]))
  const below = (await pairShares(proving, { channel, form, tones, levels: lower }))
    .find(one => one.arithmetic === arithmetic)!
  const at = (one: PairShare): AtWatts => ({ watts: one.sineV ** 2, distortion: one.share.value })
  const isOwn = own.value ** 2 >= ownShareMost * share.value ** 2
  const value = isOwn ? share.value + own.value : Math.sqrt(share.value ** 2 - own.value ** 2)
  const per = isOwn ? 1 : share.value / value
  const ohm = load?.ohm?.value
  return figureOf({
    quantity: 'intermodulation', channel, value, ...isOwn && { bound: 'at most' as const },
    parts: [
      { label: 'noise', u: share.u, sensitivity: per },
      { label: 'what the bench adds', u: own.u, sensitivity: isOwn ? 1 : own.value / value },
      levelPart(value, slopeOf(at(found), at(below)), found),
      ...isOwn ? [] : [{ label: 'phase of what the bench adds', u: own.value / Math.SQRT2 }],
    ],
    conditions: {
      form, arithmetic, driven, toneLowHz: tones.lowHz, toneHighHz: tones.highHz,
      ...ohm === undefined ? {} : { loadOhm: ohm, outputW: sineV ** 2 / ohm },
    },
    notes: [
      `${wordsOf[form]}, with the peak of the sine that gives the watts`, arithmetic, how,
      ...isOwn ? [hiddenWords] : [],
    ],
  })
}

const wordsOf: Readonly<Record<PairForm, string>> = {
  smpte: 'a low and a high tone, 4 to 1', difference: 'two high tones, 1 to 1',
  transient: 'a square wave of 3.15 kHz and a sine of 15 kHz, 4 to 1',
}
