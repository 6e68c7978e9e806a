/** Test signals, as shares of full scale: what is played into a unit. */
import { SeededRandom } from '../base/random.ts'

export const signalKinds = ['tone', 'smpte', 'difference', 'noise', 'sweep', 'silence'] as const
export type SignalKind = (typeof signalKinds)[number]

export interface SignalAsked {
  readonly kind: SignalKind
  readonly sampleHz: number
  readonly seconds: number
  /** Of the peak, dB below full scale; of noise the root mean square. */
  readonly levelDb: number
  /** Of a tone; of the ends of a sweep; of two tones. */
  readonly hz: readonly number[]
  readonly seed: number
}

/** Rise and fall at the ends: nothing steps from silence to full level. */
const fadeS = 0.02
/** Tones of the modulation signal, low to high. */
const modulationRatio = 4

/** RangeError where a frequency lies outside what the rate carries. */
export function signal(asked: SignalAsked): Float64Array {
  const { sampleHz, seconds, levelDb, hz } = asked
  if (!hz.every(one => one > 0 && one < sampleHz / 2)) {
    throw new RangeError(`frequencies lie between 0 and ${sampleHz / 2} Hz`)
  }
  const peak = 10 ** (levelDb / 20)
  const at = wave(asked)
  const count = Math.round(seconds * sampleHz)
  const fade = Math.min(Math.floor(count / 2), Math.round(fadeS * sampleHz))
  return Float64Array.from({ length: count }, (_, i) => {
    const edge = Math.min(1, Math.min(i, count - 1 - i) / Math.max(1, fade))
    return peak * at(i) * (1 - Math.cos(Math.PI * edge)) / 2
  })
}

function wave({ kind, sampleHz, seconds, hz, seed }: SignalAsked): (i: number) => number {
  const [first = 0, second = first] = hz
  const sine = (frequencyHz: number) => (i: number): number =>
    Math.sin(2 * Math.PI * ((frequencyHz * i / sampleHz) % 1))
  const [low, high] = [sine(first), sine(second)]
  switch (kind) {
    case 'silence': return () => 0
    case 'tone': return low
    case 'smpte': return i => (modulationRatio * low(i) + high(i)) / (modulationRatio + 1)
    case 'difference': return i => (low(i) + high(i)) / 2
    case 'sweep': {
      const rate = seconds / Math.log(second / first)
      return i => Math.sin(2 * Math.PI * first * rate * Math.expm1(i / sampleHz / rate))
    }
    case 'noise': {
      const random = new SeededRandom(seed)
      return () => random.normal()
    }
  }
}

/** A frequency near `hz` that fills `count` samples with a whole and odd number of periods. */
export function wholePeriodsHz(hz: number, sampleHz: number, count: number): number {
  const periods = Math.max(1, 2 * Math.round((hz * count / sampleHz - 1) / 2) + 1)
  return periods * sampleHz / count
}
