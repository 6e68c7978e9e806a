/**
 * What the bench gives by itself, measured in loop-back before the unit is looked at: how much the generator
 * really gives, what it adds, what leaks from one channel into the next, and the noise of the digitizer on
 * each range.
 */
import { BenchError } from '../base/errors.ts'
import { formatSi } from '../base/format.ts'
import type { TonePair } from '../analysis/audio/intermodulation.ts'
import type { Band, Spectrum } from '../analysis/audio/spectrum.ts'
import { levelOf, type ToneHeard } from './hear-tone.ts'
import type { Known } from './port.ts'
import { restOf } from './tone-powers.ts'

export interface Silence {
  readonly rangeV: number
  readonly sampleHz: number
  readonly captures: number
  /** Mean of the power of each bin, through the windows of noise and of lines. */
  readonly noise: Spectrum
  readonly lines: Spectrum
}

export interface Floor {
  readonly tones: Map<string, ToneHeard[]>
  readonly silence: Map<string, Silence[]>
  /** Share of the driven channel that is heard in the other one, by frequency. */
  readonly leaks: Map<string, { readonly hz: number; readonly share: Known }[]>
  /** Intermodulation of the generator and the digitizer, by form and level. */
  readonly pairs: Map<string, { readonly levelV: number; readonly share: Known }[]>
}
export const emptyFloor = (): Floor =>
  ({ tones: new Map(), silence: new Map(), leaks: new Map(), pairs: new Map() })

export const leakKey = (driven: string, heard: string): string => `${driven} in ${heard}`
export const pairKey = (channel: string, form: string, tones: TonePair, arithmetic: string): string =>
  [channel, form, tones.lowHz, tones.highHz, arithmetic].join(' ')

/** Within this of one another two frequencies, or two levels, are one. */
const sameShare = 1e-3

/**
 * What `pick` says of the loop-backs around this frequency and level: by a straight line over their
 * logarithms; between two of them it is known to half of how far they are apart, with equal chance inside.
 */
function told(
  floor: Floor, channel: string, { hz, levelV }: { hz: number; levelV: number },
  pick: (heard: ToneHeard) => Known,
): Known & { spreadU: number; nearest: ToneHeard } {
  const all = floor.tones.get(channel) ?? []
  const [low, high] = neighbours(all, one => one.hz, hz)
  if (!low || !high) {
    throw new BenchError('REFUSED', `the bench itself was not measured at ${formatSi(hz, 'Hz', 4)}`, {
      expected: 'a loop-back around this frequency first',
    })
  }
  const atHz = (one: ToneHeard): Around => {
    const levels = all.filter(other => other.hz === one.hz)
    // Below the lowest and above the highest level the nearest one is taken.
    const [a, b] = neighbours(levels, other => other.levelV, levelV)
    const nearest = a ?? b!
    const isBeyond = !a || !b
    const upper = b ?? nearest
    const known = mixed(pick(nearest), pick(upper), wayTo(nearest.levelV, upper.levelV, levelV))
    return { nearest, known: isBeyond ? { ...known, spreadU: leftOpen(levels.map(pick)) } : known }
  }
  const [below, above, way] = [atHz(low), atHz(high), wayTo(low.hz, high.hz, hz)]
  const { value, u, spreadU } = mixed(below.known, above.known, way)
  const ofLevels = Math.max(below.known.spreadU, above.known.spreadU)
  return { value, u, spreadU: Math.hypot(spreadU, ofLevels), nearest: (way < 0.5 ? below : above).nearest }
}

/** Beyond all levels as much is left open as they differ by; half of it where there is one alone. */
function leftOpen(known: readonly Known[]): number {
  const values = known.map(one => one.value)
  return values.length > 1 ? (Math.max(...values) - Math.min(...values)) / Math.sqrt(3)
    : Math.abs(values[0]!) / 2
}

interface Around {
  readonly known: Known & { readonly spreadU: number }
  readonly nearest: ToneHeard
}

/** The last at or below and the first at or above; one that is the same stands for both. */
function neighbours<T>(list: readonly T[], of: (one: T) => number, wanted: number): [T | null, T | null] {
  const sorted = [...list].sort((a, b) => of(a) - of(b))
  const off = (one: T): number => Math.abs(of(one) / wanted - 1)
  const [same] = sorted.filter(one => off(one) <= sameShare).sort((a, b) => off(a) - off(b))
  if (same !== undefined) return [same, same]
  return [sorted.filter(one => of(one) < wanted).at(-1) ?? null, sorted.find(one => of(one) > wanted) ?? null]
}

const wayTo = (from: number, to: number, at: number): number =>
  from === to ? 0 : Math.log(at / from) / Math.log(to / from)

const mixed = (a: Known, b: Known, way: number): Known & { spreadU: number } => ({
  value: a.value + (b.value - a.value) * way, u: a.u + (b.u - a.u) * way,
  spreadU: Math.abs(a.value - b.value) / 2 / Math.sqrt(3),
})

export interface SourceLevel {
  /** Volts that the generator gives into an open end for each volt that it is set to. */
  readonly share: number
  readonly noiseU: number
  readonly betweenU: number
  /** Of the digitizer, and the range that it is of. */
  readonly gainU: number
  readonly rangeV: number
}

/** `loading`: what the input of the digitizer takes off. */
export function sourceLevel(
  floor: Floor, channel: string, hz: number, levelV: number, loading: number,
): SourceLevel {
  const { value, u, spreadU, nearest } = told(floor, channel, { hz, levelV }, heard => {
    const level = levelOf(heard)
    return { value: level.value / heard.levelV / loading, u: level.u / heard.levelV / loading }
  })
  return { share: value, noiseU: u, betweenU: spreadU, gainU: nearest.gainU, rangeV: nearest.rangeV }
}

export interface Own {
  /** Shares of the square of the fundamental, by order from 2. */
  readonly harmonics: readonly { readonly order: number; readonly value: number; readonly u: number }[]
  /** Noise of the generator in the band, as such a share. */
  readonly noise: Known
}

/** What generator and digitizer add to a tone of this level. */
export function ownAt(floor: Floor, channel: string, hz: number, levelV: number): Own {
  const at = (pick: (heard: ToneHeard) => Known): Known => {
    const { value, u, spreadU } = told(floor, channel, { hz, levelV }, pick)
    return { value: Math.max(0, value), u: Math.hypot(u, spreadU) }
  }
  const { nearest } = told(floor, channel, { hz, levelV }, () => ({ value: 0, u: 0 }))
  const harmonics = nearest.harmonics.map(({ order }) => ({
    order, ...at(({ harmonics: list, fundamental }) => {
      const { value, u } = list.find(one => one.order === order) ?? { value: 0, u: 0 }
      return { value: value / fundamental.value, u: u / fundamental.value }
    }),
  }))
  return { harmonics, noise: at(heard => generatorNoise(floor, channel, heard)) }
}

function generatorNoise(floor: Floor, channel: string, heard: ToneHeard): Known {
  const silence = silentAt(floor, channel, heard.rangeV, heard.sampleHz)
  const digitizer = silence === null ? { value: 0, u: 0 } : silentPower(silence, heard.band)
  const whole = heard.fundamental.value
  const value = (heard.rest.value - digitizer.value) / whole
  return { value, u: Math.hypot(heard.rest.u, digitizer.u) / whole }
}

/** On a range of the loop-back. */
export const silentAt = (floor: Floor, channel: string, rangeV: number, sampleHz: number): Silence | null =>
  floor.silence.get(channel)?.find(one => one.rangeV === rangeV && one.sampleHz === sampleHz) ?? null

/** The same behind the divider that stands before the digitizer at the outputs of the unit. */
export function silentBehind(
  floor: Floor, channel: string, { rangeV, sampleHz }: { rangeV: number; sampleHz: number }, divider = 1,
): Silence | null {
  const alone = silentAt(floor, channel, rangeV / divider, sampleHz)
  if (alone === null || divider === 1) return alone
  const times = (one: Spectrum): Spectrum => ({
    ...one, power: one.power.map(each => each * divider ** 2), dc: one.dc * divider,
    meanSquare: one.meanSquare * divider ** 2,
  })
  return { ...alone, rangeV, noise: times(alone.noise), lines: times(alone.lines) }
}

/** Mean square of the noise of the digitizer in a band. */
export function silentPower({ noise, captures }: Silence, band: Band, gain?: (hz: number) => number): Known {
  const { value, u } = restOf(noise, [], band, gain)
  return { value, u: u / Math.sqrt(captures) }
}

/** Intermodulation of the bench at this level: the nearest levels, and how far they are apart. */
export function ownPair(floor: Floor, key: string, levelV: number): Known {
  const list = floor.pairs.get(key) ?? []
  const [a, b] = neighbours(list, one => one.levelV, levelV)
  const [lower, upper] = [a ?? b, b ?? a]
  if (!lower || !upper) throw new BenchError('REFUSED', `the bench itself was not measured: ${key}`)
  const { value, u, spreadU } = mixed(lower.share, upper.share, wayTo(lower.levelV, upper.levelV, levelV))
  return { value, u: Math.hypot(u, a && b ? spreadU : value / 2) }
}

/** What leaks from one channel into another in the bench; null where that was not measured. */
export function ownLeak(floor: Floor, driven: string, heard: string, hz: number): Known | null {
  const [a, b] = neighbours(floor.leaks.get(leakKey(driven, heard)) ?? [], one => one.hz, hz)
  const larger = [a, b].filter(one => one !== null).sort((x, y) => y.share.value - x.share.value)[0]
  return larger?.share ?? null
}
