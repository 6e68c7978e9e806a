/** Generator into digitizer: the bench by itself, before the unit. */
import type { TonePair } from '../analysis/audio/intermodulation.ts'
import { spectrumIn, transformed, type Band, type Spectrum } from '../analysis/audio/spectrum.ts'
import type { WindowName } from '../analysis/audio/windows.ts'
import { leakKey, pairKey, type Silence } from './floor.ts'
import { hearTone } from './hear-tone.ts'
import { hear, loopRange, type RecordSize } from './listen.ts'
import { limitsOf, patched, type Proving } from './proving.ts'
import { leakIn } from './separation.ts'
import { pairShares, type PairForm } from './two-tone.ts'

export interface LoopTone {
  readonly channel: string
  readonly hz: number
  readonly levelsV: readonly number[]
  readonly orders: number
  readonly band: Band
}
export interface LoopPair {
  readonly channel: string
  readonly form: PairForm
  readonly tones: TonePair
  readonly levelsV: readonly number[]
}
export interface LoopAsked {
  readonly tones: readonly LoopTone[]
  /** Ranges on which the digitizer is listened to while nothing is played, by sampling rate. */
  readonly silence: { readonly rangesV: readonly number[]; readonly sizes: readonly RecordSize[] }
  readonly leaksHz: readonly number[]
  readonly pairs: readonly LoopPair[]
}

/** So many decades of a tenth of power below the most that an input may have. */
const levelSteps = 4
export const loopLevels = (mostV: number): number[] =>
  Array.from({ length: levelSteps }, (_, i) => mostV * 10 ** (-i / 2))

export async function measureLoop(proving: Proving, asked: LoopAsked): Promise<void> {
  await patched(proving, 'loop')
  for (const { name } of proving.port.channels) {
    for (const size of asked.silence.sizes) {
      for (const rangeV of asked.silence.rangesV) {
        await listenToSilence(proving, name, loopRange(proving, rangeV), size)
      }
    }
  }
  for (const { channel, levelsV, ...tone } of asked.tones) {
    for (const levelV of levelsV) {
      const levels = { [channel]: levelV }
      const heard = await hearTone(proving, { ...tone, channel, levels, until: 'distortion' })
      keep(proving.floor.tones, channel, heard)
    }
  }
  for (const hz of asked.leaksHz) await measureLeaks(proving, hz)
  for (const pair of asked.pairs) {
    for (const levelV of pair.levelsV) await measurePair(proving, pair, levelV)
  }
}

function keep<T>(map: Map<string, T[]>, key: string, value: T): void {
  map.set(key, [...map.get(key) ?? [], value])
}

const silentCaptures = 4

async function listenToSilence(
  proving: Proving, channel: string, rangeV: number, size: RecordSize,
): Promise<void> {
  const known = proving.floor.silence.get(channel) ?? []
  if (known.some(one => one.rangeV === rangeV && one.sampleHz === size.sampleHz)) return
  const silence = await silenceOf(proving, channel, { peakV: rangeV / 1.21, size, captures: silentCaptures })
  if (silence.rangeV === rangeV) keep(proving.floor.silence, channel, silence)
}

/** What is heard while nothing is played: of the digitizer in loop-back, of the unit otherwise. */
export async function silenceOf(
  proving: Proving, channel: string,
  { peakV, size, captures }: { peakV: number; size: RecordSize; captures: number },
): Promise<Silence & { readonly dc: readonly number[]; readonly gainU: number; readonly offsetUV: number }> {
  const noise: Spectrum[] = []
  const lines: Spectrum[] = []
  let heard = await hear(proving, [channel], peakV, size)
  for (let i = 0; i < captures; i++) {
    if (i > 0) heard = await hear(proving, [channel], heard.rangeV / 1.21, size)
    const record = transformed(heard.volts[0]!, heard.sampleHz)
    const through = (window: WindowName): Spectrum => spectrumIn(record, window)
    noise.push(through('hann'))
    lines.push(through('hft144d'))
    proving.port.tell({ what: 'listening', channel, done: i + 1, of: captures })
  }
  return {
    rangeV: heard.rangeV, sampleHz: heard.sampleHz, captures, noise: meanSpectrum(noise),
    lines: meanSpectrum(lines),
    dc: lines.map(({ dc }) => dc), gainU: heard.gainU, offsetUV: heard.offsetUV,
  }
}

function meanSpectrum(spectra: readonly Spectrum[]): Spectrum {
  const [first] = spectra as [Spectrum]
  const power = new Float64Array(first.power.length)
  for (const one of spectra) {
    one.power.forEach((value, i) => { power[i] = power[i]! + value / spectra.length })
  }
  return { ...first, power }
}

async function measureLeaks(proving: Proving, hz: number): Promise<void> {
  const { port: { channels }, floor } = proving
  for (const driven of channels) {
    const levelV = Math.min(driven.input.levelMaxV, limitsOf(proving, driven.name).driveMaxV)
    for (const heard of channels) {
      if (heard === driven) continue
      const share = await leakIn(proving, { driven: driven.name, heard: heard.name, hz, levelV })
      keep(floor.leaks, leakKey(driven.name, heard.name), { hz, share: share.share })
    }
  }
}

async function measurePair(
  proving: Proving, { channel, form, tones }: LoopPair, levelV: number,
): Promise<void> {
  const found = await pairShares(proving, { channel, form, tones, levels: { [channel]: levelV } })
  for (const { arithmetic, share } of found) {
    keep(proving.floor.pairs, pairKey(channel, form, tones, arithmetic), { levelV, share })
  }
}

