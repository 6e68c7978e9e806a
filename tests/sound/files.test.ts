import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { BenchError } from '../../src/base/errors.ts'
import { isClipped } from '../../src/sound/recording.ts'
import { readTable } from '../../src/sound/table.ts'
import { readWave, writeWave } from '../../src/sound/wav.ts'

const share = fc.double({ min: -1, max: 0.999, noNaN: true })

describe('a WAVE file', () => {
  it.each([16, 24, 32] as const)('of %d bits gives back what was written, to half a step', bits => {
    fc.assert(fc.property(fc.array(fc.tuple(share, share), { minLength: 1, maxLength: 40 }), frames => {
      const channels = [0, 1].map(channel => Float64Array.from(frames, frame => frame[channel]!))
      const { channels: got, sampleHz, step, unit } = readWave(writeWave(channels, 44_100, bits), 'a.wav')
      expect([sampleHz, step, unit]).toEqual([44_100, 2 ** (1 - bits), 'FS'])
      channels.forEach((samples, channel) => samples.forEach((value, i) =>
        expect(Math.abs(got[channel]![i]! - value)).toBeLessThanOrEqual(step / 2 + 1e-12)))
    }))
  })

  /** As its description has it, byte by byte. */
  function wave(format: number[], data: number[], size = data.length): Uint8Array {
    const word = (n: number): number[] => [n & 255, n >> 8 & 255, n >> 16 & 255, n >>> 24]
    const text = (tag: string): number[] => [...tag].map(c => c.charCodeAt(0))
    return Uint8Array.from([...text('RIFF'), ...word(1000), ...text('WAVE'), ...text('LIST'), ...word(3), 1, 2, 3, 0,
      ...text('fmt '), ...word(format.length), ...format, ...text('data'), ...word(size), ...data])
  }
  const head = (kind: number, channels: number, bits: number): number[] =>
    [kind & 255, kind >> 8, channels, 0, 0x80, 0xbb, 0, 0, 0, 0, 0, 0, 0, 0, bits, 0]

  it('is read by its chunks, whatever stands between them', () => {
    expect([...readWave(wave(head(1, 1, 16), [0, 0x80, 0xff, 0x7f]), 'a').channels[0]!]).toEqual([-1, 32_767 / 32_768])
    expect([...readWave(wave(head(1, 1, 24), [0xff, 0xff, 0xff, 0, 0, 0x40]), 'a').channels[0]!]).toEqual([-1 / 8_388_608, 0.5])
    expect([...readWave(wave(head(1, 1, 8), [0, 128, 192]), 'a').channels[0]!]).toEqual([-1, 0, 0.5])
    expect([...readWave(wave(head(3, 1, 32), [0, 0, 0, 0x3f]), 'a').channels[0]!]).toEqual([0.5])
    const extended = [...head(0xfffe, 2, 16), 22, 0, 16, 0, 3, 0, 0, 0, 1, 0, 0, 0, 0, 0, 16, 0, 128, 0, 0, 170, 0, 56, 155, 113]
    expect(readWave(wave(extended, [0, 64, 0, 192]), 'a').channels.map(([value]) => value)).toEqual([0.5, -0.5])
  })
  it('whose recording was cut off is read as far as it goes', () => {
    for (const size of [0, 0xffff_ffff, 4000]) {
      expect(readWave(wave(head(1, 1, 16), [0, 64, 0, 64, 7], size), 'a').channels[0]!.length).toBe(2)
    }
  })
  it.each([
    [wave(head(2, 1, 16), [0, 0]), /PCM or floating point, got format 2/], [wave(head(1, 1, 12), [0, 0]), /8, 16, 24, 32 bits, got 12/],
    [wave(head(1, 0, 16), [0, 0]), /1 to 64 channels, got 0/], [wave(head(1, 1, 16), []), /samples, got none/],
    [wave(head(3, 1, 32), [0, 0, 192, 127]), /numbers, got samples that are none/], [wave([1, 0], [0, 0]), /16 bytes or more, got 2/],
    [Uint8Array.from([1, 2, 3]), /RIFF … WAVE/], [wave(head(1, 1, 16), [0, 0]).slice(0, 30), /none/],
  ])('that is none is told by what is wrong', (bytes, words) => { expect(() => readWave(bytes, 'a.wav')).toThrow(words) })
  it('in which bytes were changed gives samples or one clear error', () => {
    const whole = writeWave([Float64Array.from({ length: 20 }, (_, i) => Math.sin(i))], 48_000, 24)
    fc.assert(fc.property(fc.array(fc.tuple(fc.nat(whole.length - 1), fc.nat(255)), { maxLength: 6 }), fc.nat(whole.length), (edits, cut) => {
      const bytes = whole.slice(0, cut)
      for (const [at, value] of edits) if (at < bytes.length) bytes[at] = value
      try {
        expect(readWave(bytes, 'a.wav').channels.flatMap(samples => [...samples]).every(Number.isFinite)).toBe(true)
      } catch (error) { expect(error).toBeInstanceOf(BenchError) }
    }), { numRuns: 2000 })
  })
  it('may be read in part', () => {
    const bytes = writeWave([Float64Array.from({ length: 48_000 }, (_, i) => i / 48_000)], 48_000, 24)
    const { channels: [samples] } = readWave(bytes, 'a', { fromS: 0.5, lengthS: 0.25 })
    expect([samples!.length, samples![0]]).toEqual([12_000, 0.5])
    expect(() => readWave(bytes, 'a', { fromS: 2 })).toThrow(/has 1.000 s/)
  })
  it('shows where the converter was overdriven', () => {
    const sine = (peak: number) => readWave(writeWave([Float64Array.from({ length: 999 }, (_, i) => peak * Math.sin(i / 9))], 48_000, 16), 'a')
    expect(isClipped(sine(1.1), sine(1.1).channels[0]!)).toBe(true)
    expect(isClipped(sine(0.98), sine(0.98).channels[0]!)).toBe(false)
  })
})

describe('a table of volts', () => {
  it('has its rate from its times, and its columns for channels', () => {
    const { channels, sampleHz, unit } = readTable('time (s),left,right\n0,1,-1\n0.0001,2,-2\n0.0002,3e0,-3\n0.0003,4,-4\n', 'a.csv')
    expect(sampleHz).toBeCloseTo(10_000, 6)
    expect(channels.map(samples => [...samples])).toEqual([[1, 2, 3, 4], [-1, -2, -3, -4]])
    expect(unit).toBe('V')
  })
  it('may be parted by semicolons, with commas for points, or by blanks, with a rate that is told', () => {
    expect([...readTable('1,5;2\n2,5;3\n3,5;4\n4,5;5', 'a', 100).channels[0]!]).toEqual([1.5, 2.5, 3.5, 4.5])
    expect([...readTable('# volts\n 1  2\n 2  3\n 3  4\n 4  5', 'a', 100).channels[1]!]).toEqual([2, 3, 4, 5])
  })
  it.each([
    ['1\n2\n3\n4', undefined, /time, in seconds, or --rate/], ['t,v\n0,1\n1,2\n3,3\n4,4', undefined, /equal steps, got 1 s out of step/],
    ['1\n2\nx\n4\n5', 100, /3:1 expected a number, got "x"/], ['1,2\n3\n4,5\n6,7', 100, /2:1 expected 2 cells, got "1"/],
    ['1\n2', 100, /4 samples or more, got 2/], ['t\n0\n1\n2\n3', undefined, /a column of volts/],
  ])('%j is refused with what is wrong', (text, rateHz, words) => { expect(() => readTable(text, 'a.csv', rateHz)).toThrow(words) })
})
