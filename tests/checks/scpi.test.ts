/**
 * Check values for reading answers and writing commands. `seen`: an answer an independent implementation of the
 * instrument side was seen to give. `standard`: IEEE 488.2 and SCPI as instrument manuals restate them; the texts of
 * the standards themselves were not read. `computed`: follows from the number formats.
 */
import { describe, expect, it } from 'vitest'
import { blockNumbers, parsePreamble, sampleTimeS, sampleVoltageV } from '../../src/scpi/blocks.ts'
import { parseErrorEntry, readErrorAnswer } from '../../src/scpi/error-queue.ts'
import type { Frame } from '../../src/scpi/framing.ts'
import { Framer } from '../../src/scpi/framing.ts'
import { shortForm } from '../../src/scpi/keywords.ts'
import { stripEnds } from '../../src/scpi/lines.ts'
import { formatChannelList, parseChannelList, splitFields, splitResponses } from '../../src/scpi/lists.ts'
import { eventBits, scpiSupplyMode, setBits, statusByteBits } from '../../src/scpi/status.ts'
import { parseNumber, parseReading, parseString } from '../../src/scpi/values.ts'

function frames(bytes: Uint8Array, mode: 'line' | 'block'): { out: Frame[]; partial: boolean } {
  const framer = new Framer({ bytesMax: 4096 })
  framer.expect(mode)
  const out: Frame[] = []
  framer.push(bytes, frame => out.push(frame))
  return { out, partial: framer.partial }
}

function lineOf(text: string): string {
  const frame = frames(Buffer.from(text, 'latin1'), 'line').out[0]
  return frame?.kind === 'line' ? stripEnds(frame.text) : ''
}

describe('numbers in answers', () => {
  it.each([
    ['seen', '+4.99468866E+00\r\n', 4.99468866, ''],
    ['seen', '0\r\n', 0, ''],
    ['seen', '5.0000e+00\n', 5, ''],
    ['seen', '.0000 A\n', 0, 'A'],
    ['seen', ' 0.000 V\n', 0, 'V'],
  ])('(%s) %j', (_, sent, value, unit) => { expect(parseNumber(lineOf(sent))).toEqual({ value, unit }) })

  it.each([
    ['seen', '500 MA', 0.5, 'A'], ['seen', '2 MHZ', 2e6, 'Hz'], ['seen', '1 MOHM', 1e6, 'Ohm'], ['seen', '5000 MV', 5, 'V'],
    ['seen', '10 MS', 0.01, 's'],
  ])('(%s) suffix %s', (_, text, value, unit) => { expect(parseNumber(text)).toEqual({ value, unit }) })

  it.each([
    ['seen', '+9.90000000E+37', 'over-range', Infinity], ['computed: float32', '9.90000030E+37', 'over-range', Infinity],
    ['seen', '+9.91000000E+37', 'not-a-number', NaN], ['computed: float32', '9.90999953E+37', 'not-a-number', NaN],
  ])('(%s) sentinel %s', (_, text, quality, value) => { expect(parseReading(text)).toEqual({ value, quality }) })

  it('(seen) a bridge: 99.9996561 nF, D 3.14158216E-4, status ok', () => {
    expect(splitFields('+9.99996561E-08,+3.14158216E-04,+0').map(f => parseReading(f).value))
      .toEqual([99.9996561e-9, 3.14158216e-4, 0])
  })
})

describe('error entries', () => {
  it('(seen) text and what the instrument adds behind a semicolon', () => {
    expect(parseErrorEntry('-113,"Undefined header;FOO:BAR?"'))
      .toEqual({ code: -113, text: 'Undefined header', info: 'FOO:BAR?' })
  })

  it.each(['+0,"No error"', '-000,"No error"'])('(standard) %s is an empty queue', text => {
    expect(readErrorAnswer({ query: 'SYST:ERR?', none: 'code-zero', max: 64 }, text)).toBeNull()
  })
})

describe('compound answers and strings', () => {
  it('(seen) two answers to two questions', () => {
    const [version, error] = splitResponses('1999.0;0,"No error"', 2)
    expect(version).toBe('1999.0')
    expect(splitFields(error!).map((f, i) => i === 0 ? parseNumber(f).value : parseString(f))).toEqual([0, 'No error'])
  })

  it('(standard) one string with separators and a doubled quote in it', () => {
    expect(splitResponses('"a;b,c""d"', 1).map(parseString)).toEqual(['a;b,c"d'])
  })
})

describe('blocks', () => {
  it('(seen) five bytes with a line end among them, leading zeros in the count, nothing left behind', () => {
    const { out, partial } = frames(Buffer.from('#3005he\nlo\r\n', 'latin1'), 'block')
    expect(out).toHaveLength(1)
    expect(out[0]!.kind === 'block' && Buffer.from(out[0]!.bytes).toString('latin1')).toBe('he\nlo')
    expect(partial).toBe(false)
  })

  it('(computed) REAL,32 in normal byte order', () => {
    const sent = Buffer.concat([Buffer.from('#9000000004'), Uint8Array.of(0x3f, 0x80, 0, 0, 10)])
    const frame = frames(sent, 'block').out[0]!
    expect(frame.kind === 'block' && [...blockNumbers(frame.bytes, 'real32', 'normal')]).toEqual([1])
  })

  it('(seen) a preamble and three raw codes', () => {
    const p = parsePreamble('0,0,500,1,+1.00000000E-03,+0.00000000E+00,0,+4.00000000E-02,+0.00000000E+00,5')
    expect(sampleTimeS(p, 100)).toBeCloseTo(0.1, 12)
    expect([163, 5, 253].map(raw => sampleVoltageV(p, raw))).toEqual([6.32, 0, 9.92])
  })
})

describe('status', () => {
  it('(seen) STB 36 and ESR 176', () => {
    expect(setBits(36, statusByteBits)).toEqual(['error-queue', 'event'])
    expect(setBits(176, eventBits)).toEqual(['execution-error', 'command-error', 'power-on'])
  })

  it('(standard, seen) the questionable condition of a supply that keeps to the SCPI class', () => {
    expect([2, 1, 3, 0].map(scpiSupplyMode)).toEqual(['constant-voltage', 'constant-current', 'unregulated', 'off'])
  })
})

describe('commands', () => {
  it('(standard, seen) short forms', () => {
    expect(['FREQuency', 'POWer', 'MEASure', 'TRIPped'].map(shortForm)).toEqual(['FREQ', 'POW', 'MEAS', 'TRIP'])
  })

  it('(standard, seen) a channel list with a range', () => {
    expect(formatChannelList([101, 103, 104, 105])).toBe('(@101,103:105)')
    expect(parseChannelList('(@101,103:105)')).toEqual([101, 103, 104, 105])
  })
})
