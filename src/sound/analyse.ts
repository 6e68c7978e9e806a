/** One recording, one question, one answer: in volts where the scale of the samples is known. */
import { BenchError } from '../base/errors.ts'
import type { EqualisationName } from '../analysis/audio/equalisation.ts'
import {
  analyseDifference, analyseModulation, analyseTransient,
  type Difference, type Modulation, type TonePair, type Transient,
} from '../analysis/audio/intermodulation.ts'
import { analyseNoise, type Noise } from '../analysis/audio/noise.ts'
import type { Band } from '../analysis/audio/spectrum.ts'
import { analyseSweep, type Response } from '../analysis/audio/sweep.ts'
import { analyseTone, type Tone } from '../analysis/audio/tone.ts'
import type { WindowName } from '../analysis/audio/windows.ts'
import { isClipped, type Recording } from './recording.ts'
import { scaled } from './scaled.ts'
import type { SoundScale } from './scale.ts'

export const questions = ['tone', 'smpte', 'difference', 'transient', 'noise', 'sweep'] as const
export type Question = (typeof questions)[number]

export interface Asked {
  readonly as: Question
  /** From 1. */
  readonly channel: number
  readonly scale: SoundScale | null
  readonly band?: Band
  readonly window?: WindowName
  readonly harmonicsMost?: number
  readonly mainsHz?: number
  readonly tones?: TonePair
  readonly against?: EqualisationName
  /** What was played, of a sweep from `tones.lowHz` to `tones.highHz`. */
  readonly played?: Recording
}

export type Found =
  | { readonly as: 'tone'; readonly tone: Tone }
  | { readonly as: 'smpte'; readonly modulation: Modulation }
  | { readonly as: 'difference'; readonly difference: Difference }
  | { readonly as: 'transient'; readonly transient: Transient }
  | { readonly as: 'noise'; readonly noise: Noise }
  | { readonly as: 'sweep'; readonly response: Response }

export interface Answer {
  readonly channel: number
  readonly channels: number
  readonly sampleHz: number
  readonly samples: number
  /** Of levels: volts, or shares of full scale. */
  readonly unit: 'V' | 'FS'
  /** Of the scale, as a share; levels have it in their uncertainty, ratios do not. */
  readonly scaleU: number
  readonly format: string
  readonly cautions: readonly string[]
  readonly found: Found
}

/** More than this takes gigabytes; more of one signal tells little more. */
export const samplesMost = 2 ** 22
/** Beyond it the length must be a power of two, or the transform takes several times as much. */
const anyLengthMost = 2 ** 20

/** USAGE where the recording does not hold what is asked of it. */
export function answer(recording: Recording, asked: Asked): Answer {
  const { channels, sampleHz, unit, format } = recording
  const whole = channels[asked.channel - 1]
  if (!whole) {
    throw new BenchError('USAGE', 'there is no such channel', {
      expected: `1 to ${channels.length}`, got: `${asked.channel}`,
    })
  }
  const piece = whole.subarray(0, lengthOf(whole.length, asked.as))
  const scale = unit === 'FS' ? asked.scale : null
  // A response is the ratio of two files, in shares of full scale both.
  const isPlain = scale === null || asked.as === 'sweep'
  const samples = isPlain ? piece : piece.map(value => value * scale.fullScaleV)
  const scaleU = scale?.uShare ?? 0
  return {
    channel: asked.channel, channels: channels.length, sampleHz, samples: samples.length,
    unit: scale === null ? unit : 'V', scaleU, format, cautions: cautionsOf(recording, whole, piece),
    found: scaled(foundIn(samples, sampleHz, asked), scaleU),
  }
}

function foundIn(samples: Float64Array, sampleHz: number, asked: Asked): Found {
  const { as, tones, window } = asked
  try {
    switch (as) {
      case 'tone': return { as, tone: analyseTone(samples, sampleHz, asked) }
      case 'smpte': return { as, modulation: analyseModulation(samples, sampleHz, tones, window) }
      case 'difference': return { as, difference: analyseDifference(samples, sampleHz, tones, window) }
      case 'transient': return { as, transient: analyseTransient(samples, sampleHz, undefined, window) }
      case 'noise': return { as, noise: analyseNoise(samples, sampleHz, asked) }
      case 'sweep': return { as, response: responseOf(samples, sampleHz, asked) }
    }
  } catch (error) {
    if (error instanceof RangeError) throw new BenchError('USAGE', error.message, {}, error)
    throw error
  }
}

/** What `generate sweep` writes when nothing else is said. */
export const usualSweep: TonePair = { lowHz: 10, highHz: 22_000 }

function responseOf(
  samples: Float64Array, sampleHz: number, { played, tones = usualSweep, band, against }: Asked,
): Response {
  const source = played?.channels[0]
  if (!played || !source) throw new RangeError('a sweep is measured beside what was played: --played FILE')
  if (played.sampleHz !== sampleHz) {
    throw new RangeError(`played at ${played.sampleHz} Hz and recorded at ${sampleHz} Hz`)
  }
  const seconds = source.length / sampleHz
  const sweep = {
    fromHz: tones.lowHz, toHz: tones.highHz, seconds, ...against === undefined ? {} : { against },
  }
  return analyseSweep(source, samples, sampleHz, sweep, band)
}

function lengthOf(count: number, as: Question): number {
  if (count > samplesMost) {
    throw new BenchError('USAGE', 'the recording is too long for one analysis', {
      expected: `at most ${samplesMost} samples`, got: `${count}; take a stretch of it with --from and --for`,
    })
  }
  return count <= anyLengthMost || as === 'sweep' ? count : 2 ** Math.floor(Math.log2(count))
}

function cautionsOf(recording: Recording, whole: Float64Array, piece: Float64Array): string[] {
  const list: string[] = []
  if (isClipped(recording, piece)) list.push('the converter was overdriven: what it adds is in every figure')
  if (piece.length < whole.length) {
    list.push(`the first ${piece.length} of ${whole.length} samples were taken`)
  }
  return list
}
