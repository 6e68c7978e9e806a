/**
 * WAVE files: PCM of 8 to 32 bits and floating point of 32 and 64, plain or with the extended format chunk.
 * A file whose recording was cut off is read as far as it goes.
 */
import { BenchError } from '../base/errors.ts'
import { samplesOf, type Recording, type Stretch } from './recording.ts'

const pcm = 1
const float = 3
const extended = 0xfffe
const channelsMost = 64
/** Largest size that a chunk can state; also what a recorder leaves that was cut off. */
const unknownBytes = 0xffff_ffff

interface Format {
  readonly kind: 'pcm' | 'float'
  readonly channels: number
  readonly sampleHz: number
  readonly bits: number
}

export const isWave = (bytes: Uint8Array): boolean => tagAt(bytes, 0) === 'RIFF' && tagAt(bytes, 8) === 'WAVE'

/** FILE_INVALID, naming what stands where another thing belongs. */
export function readWave(bytes: Uint8Array, file: string, stretch: Stretch = {}): Recording {
  if (!isWave(bytes)) throw invalid(file, 'RIFF … WAVE at its beginning', tagAt(bytes, 0))
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength)
  let format: Format | null = null
  for (let at = 12; at + 8 <= bytes.length;) {
    const [tag, size] = [tagAt(bytes, at), view.getUint32(at + 4, true)]
    const begin = at + 8
    if (tag === 'fmt ') format = formatAt(view, begin, size, file)
    if (tag === 'data') {
      if (format === null) throw invalid(file, 'a format chunk before the samples', 'none')
      const end = size === unknownBytes || size === 0 ? bytes.length : Math.min(bytes.length, begin + size)
      return recordingOf(view, format, begin, end, file, stretch)
    }
    at = begin + size + size % 2
  }
  throw invalid(file, 'a chunk of samples', 'none')
}

function formatAt(view: DataView, at: number, size: number, file: string): Format {
  if (size < 16 || at + size > view.byteLength) {
    throw invalid(file, 'a format chunk of 16 bytes or more', `${size}`)
  }
  const code = view.getUint16(at, true)
  const kind = code === extended && size >= 26 ? view.getUint16(at + 24, true) : code
  const format = {
    channels: view.getUint16(at + 2, true), sampleHz: view.getUint32(at + 4, true),
    bits: view.getUint16(at + 14, true),
  }
  const { channels, sampleHz, bits } = format
  if (kind !== pcm && kind !== float) throw invalid(file, 'PCM or floating point', `format ${kind}`)
  const allowed = kind === pcm ? [8, 16, 24, 32] : [32, 64]
  if (!allowed.includes(bits)) throw invalid(file, `samples of ${allowed.join(', ')} bits`, `${bits}`)
  if (channels < 1 || channels > channelsMost) {
    throw invalid(file, `1 to ${channelsMost} channels`, `${channels}`)
  }
  if (sampleHz < 1) throw invalid(file, 'a sampling rate', `${sampleHz} Hz`)
  return { kind: kind === pcm ? 'pcm' : 'float', ...format }
}

function recordingOf(
  view: DataView, { kind, channels, sampleHz, bits }: Format, begin: number, end: number,
  file: string, stretch: Stretch,
): Recording {
  const width = bits / 8
  const frames = Math.floor((end - begin) / (width * channels))
  if (frames === 0) throw invalid(file, 'samples', 'none')
  const [first, count] = stretchIn(stretch, frames, sampleHz, file)
  const read = readerOf(view, kind, bits)
  const list = Array.from({ length: channels }, (_, channel) => {
    const samples = new Float64Array(count)
    for (let i = 0; i < count; i++) samples[i] = read(begin + ((first + i) * channels + channel) * width)
    return samples
  })
  const isSound = list.every(samples => samples.every(Number.isFinite))
  if (!isSound) throw invalid(file, 'numbers', 'samples that are none')
  return {
    channels: list, sampleHz, unit: 'FS',
    format: kind === 'pcm' ? `${bits} bit` : `${bits} bit floating point`,
    step: kind === 'pcm' ? 2 ** (1 - bits) : 0,
  }
}

function stretchIn(stretch: Stretch, frames: number, sampleHz: number, file: string): [number, number] {
  try {
    return samplesOf(stretch, frames, sampleHz)
  } catch (error) {
    throw new BenchError('USAGE', (error as Error).message, { file })
  }
}

/** As shares of full scale. */
function readerOf(view: DataView, kind: Format['kind'], bits: number): (at: number) => number {
  if (kind === 'float') {
    return bits === 32 ? at => view.getFloat32(at, true) : at => view.getFloat64(at, true)
  }
  switch (bits) {
    case 8: return at => (view.getUint8(at) - 128) / 128
    case 16: return at => view.getInt16(at, true) / 32_768
    case 24: return at => (view.getUint16(at, true) + view.getInt8(at + 2) * 65_536) / 8_388_608
    default: return at => view.getInt32(at, true) / 2_147_483_648
  }
}

function tagAt(bytes: Uint8Array, at: number): string {
  return String.fromCharCode(...bytes.subarray(at, at + 4))
}

const invalid = (file: string, expected: string, got: string): BenchError => {
  const context = { file, expected, got: JSON.stringify(got).slice(1, -1) }
  return new BenchError('FILE_INVALID', 'this is no WAVE file that can be read', context)
}

export type WaveBits = 16 | 24 | 32

/** PCM; samples beyond full scale are held at it. `dither`: noise in steps that is added before rounding. */
export function writeWave(
  channels: readonly Float64Array[], sampleHz: number, bits: WaveBits, dither: () => number = () => 0,
): Uint8Array<ArrayBuffer> {
  const width = bits / 8
  const frames = channels[0]!.length
  const size = frames * channels.length * width
  const bytes = new Uint8Array(headingBytes + size + size % 2)
  const view = new DataView(bytes.buffer)
  heading(view, { channels: channels.length, sampleHz, bits }, size)
  const most = 2 ** (bits - 1)
  let at = headingBytes
  for (let i = 0; i < frames; i++) {
    for (const samples of channels) {
      const value = Math.max(-most, Math.min(most - 1, Math.round(samples[i]! * most + dither())))
      if (bits === 16) view.setInt16(at, value, true)
      else if (bits === 32) view.setInt32(at, value, true)
      else { view.setUint16(at, value & 0xffff, true); view.setInt8(at + 2, value >> 16) }
      at += width
    }
  }
  return bytes
}

const headingBytes = 44

function heading(
  view: DataView,
  { channels, sampleHz, bits }: { channels: number; sampleHz: number; bits: number }, size: number,
): void {
  const text = (at: number, tag: string): void => {
    for (let i = 0; i < 4; i++) view.setUint8(at + i, tag.charCodeAt(i))
  }
  const frameBytes = channels * bits / 8
  text(0, 'RIFF')
  view.setUint32(4, view.byteLength - 8, true)
  text(8, 'WAVE')
  text(12, 'fmt ')
  view.setUint32(16, 16, true)
  view.setUint16(20, pcm, true)
  view.setUint16(22, channels, true)
  view.setUint32(24, sampleHz, true)
  view.setUint32(28, sampleHz * frameBytes, true)
  view.setUint16(32, frameBytes, true)
  view.setUint16(34, bits, true)
  text(36, 'data')
  view.setUint32(40, size, true)
}
