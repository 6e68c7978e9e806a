/** Goal: texts are read for what they say or refused; nothing is guessed. Published values stand in tests/checks. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { blockNumbers } from '../../src/scpi/blocks.ts'
import { parseErrorEntry, readErrorAnswer } from '../../src/scpi/error-queue.ts'
import { shortForm } from '../../src/scpi/keywords.ts'
import { cleanLine, stripEnds } from '../../src/scpi/lines.ts'
import { formatChannelList, parseChannelList, splitFields, splitResponses } from '../../src/scpi/lists.ts'
import {
  formatNumber, parseBoolean, parseIdentity, parseNumber, parseReading, parseString, readNumber,
} from '../../src/scpi/values.ts'

const refused = expect.objectContaining({ code: 'ANSWER_FORM' })
const refuses = (work: () => unknown): void => { expect(work).toThrow(refused) }

describe('numbers', () => {
  it('reads back every number that can be sent, to nine digits', () => {
    fc.assert(fc.property(fc.double({ noNaN: true, noDefaultInfinity: true, min: -1e36, max: 1e36 }), value => {
      const sent = formatNumber(value)
      expect(sent).toMatch(/^-?\d+(\.\d+)?(E[+-]\d+)?$/)
      expect(parseNumber(sent).value).toBe(Number(value.toPrecision(9)) + 0)
    }))
    expect(formatNumber(0.1 + 0.2)).toBe('0.3')
    expect(formatNumber(-0)).toBe('0')
    expect(() => formatNumber(NaN)).toThrow()
  })

  it.each([['-.00002', -0.00002], ['5.', 5], ['+5', 5], ['4.56e 3', 4560], ['1E2', 100], ['  7 ', 7]])(
    'reads %s', (text, value) => { expect(parseNumber(text).value).toBe(value) })

  it.each([
    ['.0045nF', 4.5e-12, 'F'], ['3.3kOhm', 3300, 'Ohm'], ['1 uA', 1e-6, 'A'], ['2\xb5F', 2e-6, 'F'], ['1.2 GHZ', 1.2e9, 'Hz'],
    ['7 pF', 7e-12, 'F'], ['1 F', 1, 'F'], ['1 MF', 1e-3, 'F'], ['12.5 VDC', 12.5, 'V'], ['23.4 \xb0C', 23.4, 'Cel'],
    ['1.5E3 MV', 1.5, 'V'], ['50 %', 50, '%'], ['1 MAHZ', 1e6, 'Hz'], ['1 FA', 1e-15, 'A'], ['293 K', 293, 'K'],
  ])('reads the unit of %s', (text, value, unit) => { expect(parseNumber(text)).toEqual({ value, unit }) })

  it.each(['', 'V', '1.2.3', '1,5', '--1', '1 2', '0x10', '1 X', '5 M', 'OL', '1e999', '1\xff', '+', '.', 'e5'])(
    'refuses %j', text => { refuses(() => parseNumber(text)) })

  it('takes no text at all for a number by accident', () => {
    fc.assert(fc.property(fc.string({ maxLength: 12 }), text => {
      let value: number
      try { value = parseNumber(text).value } catch (error) { expect(error).toEqual(refused); return }
      expect(Number.isFinite(value)).toBe(true)
      expect(text).toMatch(/\d/)
    }))
  })
})

describe('readings', () => {
  it.each([['OL', Infinity], ['-OL', -Infinity], ['OVER', Infinity], ['OV01', Infinity], ['0.0,OL', Infinity], ['+INF', Infinity],
    ['NINF', -Infinity], ['-9.9E37', -Infinity], ['9.9E+37', Infinity]])('takes %s for over-range', (text, value) => {
    expect(parseReading(text)).toEqual({ value, quality: 'over-range' })
  })

  it('tells the sentinels from each other and from real numbers after float32 rounding', () => {
    expect(readNumber(Math.fround(9.9e37)).quality).toBe('over-range')
    expect(readNumber(Math.fround(-9.9e37)).quality).toBe('over-range')
    expect(readNumber(Math.fround(9.91e37)).quality).toBe('not-a-number')
    expect(readNumber(9.8e37).quality).toBe('good')
    expect(readNumber(NaN)).toEqual({ value: NaN, quality: 'not-a-number' })
    expect(parseReading('NAN').quality).toBe('not-a-number')
  })

  it.each(['1,2', 'OLD', 'NOBIN', '', '0.0,XX'])('refuses %j', text => { refuses(() => parseReading(text)) })
})

describe('switches, strings and identities', () => {
  it('reads the states of a switch and nothing else', () => {
    expect(['1', '0', 'ON', 'off', '+1', '1.0'].map(parseBoolean)).toEqual([true, false, true, false, true, true])
    for (const text of ['2', '', 'yes', '0.4', '-1', '1E0']) refuses(() => parseBoolean(text))
  })

  it('gives back every string that was sent in double quotes, those inside doubled', () => {
    fc.assert(fc.property(fc.string(), text => {
      expect(parseString(`"${text.replaceAll('"', '""')}"`)).toBe(text)
    }))
    expect(parseString('VOLT')).toBe('VOLT')
    for (const text of ['"', '"a', '"a"b"', "'a\""]) refuses(() => parseString(text))
  })

  it.each([
    ['Fictive,lcr-bridge', ['Fictive', 'lcr-bridge', '', '']],
    ['Fictive, lcr-bridge ,7,1.2', ['Fictive', 'lcr-bridge', '7', '1.2']],
    ['Fictive,lcr-bridge,7,1.2,boot 3,x', ['Fictive', 'lcr-bridge', '7', '1.2,boot 3,x']],
    ['*IDN Fictive,lcr-bridge,0,0', ['Fictive', 'lcr-bridge', '0', '0']],
  ])('reads the identity %s', (text, wanted) => {
    const { maker, model, serial, firmware, raw } = parseIdentity(text)
    expect([maker, model, serial, firmware]).toEqual(wanted)
    expect(raw).toBe(text)
  })

  it('refuses an identity without maker and model', () => { refuses(() => parseIdentity(' , ,')) })
})

describe('error entries', () => {
  it.each([['0', 0, '', ''], ['+0,"No error"', 0, 'No error', ''], ['-000,"No error"', 0, 'No error', ''],
    ['101,syntax', 101, 'syntax', ''], ['-222,"Data out of range; ""VOLT"""', -222, 'Data out of range', '"VOLT"'],
    ['-350,"Queue over', -350, 'Queue over', ''],
  ])('reads %s', (answer, code, text, info) => { expect(parseErrorEntry(answer)).toEqual({ code, text, info }) })

  it('refuses what is no entry', () => {
    for (const text of ['', 'No error', '1.5', '1e3,"x"', '0 1']) refuses(() => parseErrorEntry(text))
  })

  it('knows which codes mean none', () => {
    const check = { query: 'ERR?', none: [0, -800], max: 8 } as const
    expect(readErrorAnswer(check, '-800,"Operation complete"')).toBeNull()
    expect(readErrorAnswer(check, '-100,"Command error"')?.code).toBe(-100)
    refuses(() => readErrorAnswer({ kind: 'event-register', query: '*ESR?', errorMask: 60 }, '256'))
  })
})

describe('lists', () => {
  it('splits outside quotes and parentheses', () => {
    expect(splitFields('1, "a,b" ,(@1,2),')).toEqual(['1', '"a,b"', '(@1,2)', ''])
  })

  it('pairs answers with questions only when their number is right', () => {
    expect(splitResponses('1;"a;b"', 2)).toEqual(['1', '"a;b"'])
    refuses(() => splitResponses('1;2', 3))
    refuses(() => splitResponses('1;2', 1))
  })

  it('gives back every channel list that was sent', () => {
    fc.assert(fc.property(fc.array(fc.nat(9999), { minLength: 1, maxLength: 40 }), channels => {
      expect(parseChannelList(formatChannelList(channels))).toEqual(channels)
    }))
    expect(parseChannelList('(@)')).toEqual([])
    for (const text of ['101', '(@1,)', '(@3:1)', '(@1:99999)', '(@a)']) refuses(() => parseChannelList(text))
  })
})

describe('keywords, lines and blocks', () => {
  it('knows the short form', () => { expect(shortForm('voltage')).toBe('VOLT') })

  it('takes control characters off the ends only', () => {
    expect(stripEnds('\0\r 1 \0 2\r\n\0')).toBe('1 \0 2')
    expect(cleanLine('=> => 5\r', { prompts: ['=>'], ignore: [] })).toBe('5')
    expect(cleanLine('**Reset', { prompts: [], ignore: [/^\*\*/] })).toBe('')
  })

  it('reads numbers of a block in both byte orders, at any offset', () => {
    fc.assert(fc.property(fc.array(fc.float({ noNaN: true })), fc.boolean(), fc.nat(3), (values, swapped, offset) => {
      const room = new Uint8Array(offset + values.length * 4)
      const view = new DataView(room.buffer)
      values.forEach((v, i) => view.setFloat32(offset + i * 4, v, swapped))
      expect([...blockNumbers(room.subarray(offset), 'real32', swapped ? 'swapped' : 'normal')]).toEqual(values)
    }))
    refuses(() => blockNumbers(new Uint8Array(5), 'real32', 'normal'))
  })
})
