/**
 * The response of a unit from one logarithmic sweep: what came back, divided by what was played, is what the
 * unit does to a click; harmonics of order n come L·ln n before it, and are told apart by that.
 */
import { equalisations, type EqualisationName } from './equalisation.ts'
import { realInverse, realTransform, type Bins } from './fourier.ts'
import type { Estimate } from './sine-fit.ts'
import type { Band } from './spectrum.ts'

export interface SweepAsked {
  readonly fromHz: number
  readonly toHz: number
  /** How long the sweep takes. */
  readonly seconds: number
  /** What the unit is meant to do: levels are told against it. Flat where it is left out. */
  readonly against?: EqualisationName
}

export interface ResponsePoint {
  readonly frequencyHz: number
  /** Against what is at the reference frequency, and against what is meant there, dB. */
  readonly db: Estimate
  /** Harmonics of order 2 and 3 as shares of the fundamental; null where they lie beyond the sweep. */
  readonly second: number | null
  readonly third: number | null
}

export interface Response {
  readonly referenceHz: number
  readonly against: EqualisationName | null
  /** Out over in at the reference frequency, of samples to samples. */
  readonly gain: Estimate
  readonly delayS: number
  readonly points: readonly ResponsePoint[]
  /** Most and least of the points in the band, dB. */
  readonly band: Band & { readonly mostDb: number; readonly leastDb: number }
  /** Where it is 3 dB below the reference, Hz; null where the sweep does not reach so far. */
  readonly lowHz: number | null
  readonly highHz: number | null
}

/** So many to an octave. */
const pointsPerOctave = 6
/** Below this share of its strongest bin the sweep says nothing. */
const leastShare = 1e-5
/** What is kept of the click: reverberation of a unit's lowest corner takes some tenths of a second. */
const tailS = 0.4
/** Half-power. */
const cornerDb = -3

/**
 * `played` and `recorded` at one rate; `recorded` may begin earlier or later by up to half of its length.
 * `band`: of the most and the least. RangeError where no sweep is found in it.
 */
export function analyseSweep(
  played: ArrayLike<number>, recorded: ArrayLike<number>, sampleHz: number, asked: SweepAsked,
  band: Band = told(asked), referenceHz = 1000,
): Response {
  const click = clickOf(played, recorded)
  const peak = peakOf(click)
  const perE = asked.seconds / Math.log(asked.toHz / asked.fromHz)
  const linear = pieceOf(click, peak, perE * Math.log(2) / 2, sampleHz)
  refuseUnlessStandsOut(click, peak, linear)
  const noise = noiseOf(click, peak, sampleHz)
  const at = (hz: number): number => gainAt(linear, hz, sampleHz)
  const harmonics = [2, 3].map(order => {
    const [ahead, apart] = [perE * Math.log(order) * sampleHz, perE * Math.log(1 + 1 / order) / 2]
    return { order, piece: pieceOf(click, peak - ahead, apart, sampleHz) }
  })
  const u = noise * Math.sqrt(linear.samples.length / 2)
  const reference = at(referenceHz)
  const meantDb = (hz: number): number => asked.against
    ? equalisations[asked.against](hz) - equalisations[asked.against](referenceHz) : 0
  const points = frequencies(asked).map((hz): ResponsePoint => {
    const gain = at(hz)
    const share = ({ order, piece }: (typeof harmonics)[number]): number | null =>
      order * hz > asked.toHz ? null : gainAt(piece, order * hz, sampleHz) / gain
    return {
      frequencyHz: hz, db: {
        value: 20 * Math.log10(gain / reference) - meantDb(hz),
        u: hz === referenceHz ? 0 : 20 / Math.LN10 * Math.hypot(u / gain, u / reference),
      },
      second: share(harmonics[0]!), third: share(harmonics[1]!),
    }
  })
  const inBand = points.filter(({ frequencyHz: hz }) => hz >= band.fromHz * 0.999 && hz <= band.toHz * 1.001)
  const levels = inBand.map(({ db }) => db.value)
  return {
    referenceHz, against: asked.against ?? null, gain: { value: reference, u }, points,
    delayS: signedDelay(peak, click.length) / sampleHz,
    band: { ...band, mostDb: Math.max(...levels), leastDb: Math.min(...levels) },
    lowHz: cornerOf([...points].reverse(), referenceHz), highHz: cornerOf(points, referenceHz),
  }
}

/** What the unit does to a click, round a circle as long as the transform. */
function clickOf(played: ArrayLike<number>, recorded: ArrayLike<number>): Float64Array {
  const size = 2 ** Math.ceil(Math.log2(Math.max(played.length, recorded.length) * 1.5))
  const [x, y] = [realTransform(padded(played, size)), realTransform(padded(recorded, size))]
  let most = 0
  for (let k = 0; k < x.re.length; k++) most = Math.max(most, x.re[k]! ** 2 + x.im[k]! ** 2)
  const ratio: Bins = { re: new Float64Array(x.re.length), im: new Float64Array(x.re.length) }
  for (let k = 0; k < x.re.length; k++) {
    const square = x.re[k]! ** 2 + x.im[k]! ** 2
    if (square < leastShare * most) continue
    ratio.re[k] = (y.re[k]! * x.re[k]! + y.im[k]! * x.im[k]!) / square
    ratio.im[k] = (y.im[k]! * x.re[k]! - y.re[k]! * x.im[k]!) / square
  }
  return realInverse(ratio)
}

function padded(samples: ArrayLike<number>, size: number): Float64Array {
  const wide = new Float64Array(size)
  wide.set(samples instanceof Float64Array ? samples : Float64Array.from(samples))
  return wide
}

function peakOf(click: Float64Array): number {
  let most = 0
  for (let i = 1; i < click.length; i++) if (Math.abs(click[i]!) > Math.abs(click[most]!)) most = i
  return most
}

const signedDelay = (peak: number, length: number): number => peak > length / 2 ? peak - length : peak

interface Piece { readonly samples: Float64Array; readonly before: number }

/** From `beforeS` ahead of the peak, or less, to the end of its tail, faded at both ends. */
function pieceOf(click: Float64Array, peak: number, beforeS: number, sampleHz: number): Piece {
  const before = Math.round(Math.min(beforeS, tailS) * sampleHz)
  const after = before
  const samples = new Float64Array(before + after)
  const fade = Math.floor(before / 4)
  const middle = Math.round(peak)
  for (let i = 0; i < samples.length; i++) {
    const edge = Math.min(1, Math.min(i, samples.length - 1 - i) / fade)
    const at = (middle - before + i + 2 * click.length) % click.length
    samples[i] = click[at]! * (1 - Math.cos(Math.PI * edge)) / 2
  }
  return { samples, before }
}

/** Noise of one sample, well after the click has died away. */
function noiseOf(click: Float64Array, peak: number, sampleHz: number): number {
  const count = Math.round(tailS * sampleHz)
  let squares = 0
  for (let i = 0; i < count; i++) squares += click[(peak + 2 * count + i) % click.length]! ** 2
  return Math.sqrt(squares / count)
}

/** A click is this many times what is found elsewhere. */
const standsOut = 20

function refuseUnlessStandsOut(click: Float64Array, peak: number, { samples }: Piece): void {
  const all = click.reduce((sum, value) => sum + value * value, 0)
  const rest = Math.sqrt(all / click.length)
  if (!(Math.abs(click[peak]!) > standsOut * rest) || samples.length < 4) {
    throw new RangeError('the sweep that was played is not found in this recording')
  }
}

function gainAt({ samples }: Piece, hz: number, sampleHz: number): number {
  const omega = 2 * Math.PI * hz / sampleHz
  let [re, im] = [0, 0]
  for (let i = 0; i < samples.length; i++) {
    re += samples[i]! * Math.cos(omega * i)
    im -= samples[i]! * Math.sin(omega * i)
  }
  return Math.hypot(re, im)
}

/** At the ends of a sweep half of what would tell is missing: it must begin and end outside what it tells. */
export const told = ({ fromHz, toHz }: Pick<SweepAsked, 'fromHz' | 'toHz'>): Band =>
  ({ fromHz: 2 * fromHz, toHz: toHz / 1.05 })

/** Outwards from 1 kHz in equal steps of an octave, and both ends of what is told. */
function frequencies(asked: SweepAsked): number[] {
  const { fromHz, toHz } = told(asked)
  const list: number[] = []
  const first = Math.ceil(pointsPerOctave * Math.log2(fromHz / 1000) - 1e-9)
  const last = Math.floor(pointsPerOctave * Math.log2(toHz / 1000) + 1e-9)
  for (let i = first; i <= last; i++) list.push(1000 * 2 ** (i / pointsPerOctave))
  const ends = [fromHz, toHz].filter(hz => list.every(one => Math.abs(one / hz - 1) > 0.01))
  return [...list, ...ends].sort((a, b) => a - b)
}

/** The first crossing of the corner beyond the reference, along `points`, by a straight line over log f. */
function cornerOf(points: readonly ResponsePoint[], referenceHz: number): number | null {
  const from = points.findIndex(({ frequencyHz }) => Math.abs(frequencyHz / referenceHz - 1) < 0.01)
  for (let i = from + 1; i < points.length && from >= 0; i++) {
    const [near, far] = [points[i - 1]!, points[i]!]
    if (far.db.value > cornerDb || near.db.value <= cornerDb) continue
    const share = (near.db.value - cornerDb) / (near.db.value - far.db.value)
    return near.frequencyHz * (far.frequencyHz / near.frequencyHz) ** share
  }
  return null
}
