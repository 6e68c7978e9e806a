/** Limits of transistors as the trade writes them: what is read, and what is told and not guessed. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { statedLimits, type StatedLimit } from '../../src/marks/stated-limits.ts'

const one = (text: string): StatedLimit => {
  const { found, problems } = statedLimits(text)
  expect(problems, text).toEqual([])
  expect(found, text).toHaveLength(1)
  return found[0]!.limit
}
const told = (text: string) => {
  const { found, problems } = statedLimits(text)
  expect(found, text).toEqual([])
  return problems
}

describe('a stated limit', () => {
  it.each([
    ['hFE 110-220', { of: 'gain', low: 110, high: 220 }], ['hfe=110…220', { of: 'gain', low: 110, high: 220 }], ['h_FE: 110 to 220', { of: 'gain', low: 110, high: 220 }],
    ['hFE >= 40', { of: 'gain', low: 40 }], ['hFE ≥40', { of: 'gain', low: 40 }], ['hFE>40', { of: 'gain', low: 40 }], ['hFE min. 40', { of: 'gain', low: 40 }], ['hFE 40 min', { of: 'gain', low: 40 }],
    ['hFE at least 40', { of: 'gain', low: 40 }], ['hFE <= 800', { of: 'gain', high: 800 }], ['hFE min 40, max 120', { of: 'gain', low: 40, high: 120 }], ['hFE 40 min 120 max', { of: 'gain', low: 40, high: 120 }],
    ['beta 50..150 @ 2 mA', { of: 'gain', low: 50, high: 150, currentA: 0.002 }], ['β50-150', { of: 'gain', low: 50, high: 150 }],
    ['hFE 110–220 @ 2mA/5V', { of: 'gain', low: 110, high: 220, currentA: 0.002, voltageV: 5 }], ['hFE >= 40 at IC = 150 µA, VCE = 10 V', { of: 'gain', low: 40, currentA: 150e-6, voltageV: 10 }],
    ['hFE 60-120 @ -2 mA, -5 V', { of: 'gain', low: 60, high: 120, currentA: 0.002, voltageV: 5 }],
    ['IDSS 2-6 mA', { of: 'drain current', low: 2e-3, high: 6e-3 }], ['Idss 500 µA..2mA', { of: 'drain current', low: 500e-6, high: 2e-3 }], ['IDSS >= 2 mA @ 15 V', { of: 'drain current', low: 2e-3, voltageV: 15 }],
    ['VGS(off) -1..-4 V', { of: 'cut-off voltage', low: 1, high: 4 }], ['VGS(off) −4 … −1 V', { of: 'cut-off voltage', low: 1, high: 4 }], ['VGSoff -1 - -4 V @ 10nA', { of: 'cut-off voltage', low: 1, high: 4, currentA: 1e-8 }],
    ['VP 0,5-2,5 V', { of: 'cut-off voltage', low: 0.5, high: 2.5 }], ['Vp <= 4 V', { of: 'cut-off voltage', high: 4 }],
    ['Vth 2-4 V', { of: 'threshold voltage', low: 2, high: 4 }], ['VGS(th) 800 mV to 2 V at 1 mA', { of: 'threshold voltage', low: 0.8, high: 2, currentA: 1e-3 }],
  ] as const)('%s is read', (text, limit) => { expect(one(text)).toEqual(limit) })

  it('stands among other words, and says where', () => {
    const text = 'BC109C, first stage; hFE 200-450 @ 2 mA; low noise, Ptot 300 mW at 25 °C'
    const { found, problems } = statedLimits(text)
    expect(problems).toEqual([])
    expect(found.map(({ at, end, symbol, sign }) => [text.slice(at, end), symbol, sign])).toEqual([['hFE 200-450 @ 2 mA', 'hFE', null]])
    expect(statedLimits('IDSS 2-6 mA, VGS(off) -1..-4 V').found.map(({ limit: { of }, sign }) => [of, sign])).toEqual([['drain current', null], ['cut-off voltage', '-']])
  })

  it.each([
    ['hFE 110', 5, /limits like hFE 110-220/], ['hFE = 110', 7, /limits like/], ['hFE 220-110', 5, /lower limit first/], ['hFE 110-110', 5, /lower limit first/], ['hFE 0-100', 5, /above 0/],
    ['hFE >= 1000000', 5, /up to 100000/], ['hFE 2-6 mA', 5, /limits like hFE/], ['hFE 110-220%', 5, /limits like/], ['hFE 1,000-2,000', 5, /limits like/], ['hFE 200 ±20 %', 5, /limits like/],
    ['IDSS 2-6', 6, /limits like IDSS 2-6 mA/], ['IDSS 2-6 V', 6, /limits like IDSS/], ['IDSS 2-6 MA', 6, /limits like IDSS/], ['Vth 2-4 mA', 5, /limits like Vth/],
    ['VGS(off) -1..4 V', 10, /limits like VGS\(off\) -1\.\.-4 V/], ['VGS(off) >= -4 V', 10, /limits like/], ['hFE min 40 min 50', 5, /limits like/],
    ['hFE 110-220 @ cold', 12, /measured at, like @ 2 mA/], ['hFE 110-220 @', 12, /measured at/], ['hFE 110-220 @ 2 mA, 3 mA', 12, /measured at/], ['hFE 110-220 @ IC = 5 V', 12, /measured at/],
    ['hFE 110-220 @ 2 W', 12, /measured at/], ['IDSS 2-6 mA @ 1 mA', 12, /measured at, like @ 15 V/], ['VP 1-4 V @ 10 V', 9, /measured at, like @ 10 nA/],
    ['hEF 110-220', 1, /did you mean hFE\?/], ['hFFE >= 40', 1, /did you mean hFE\?/], ['betta 50..150', 1, /did you mean beta\?/], ['IDDS 2-6 mA', 1, /did you mean IDSS\?/], ['IDS 2-6 mA', 1, /did you mean IDSS\?/],
    ['VGS -1..-4 V', 1, /did you mean VGS\(off\) or VGS\(th\)\?/], ['VGS(of) -1..-4 V', 1, /did you mean VGS\(off\)\?/], ['Vht 2-4 V', 1, /did you mean Vth\?/],
  ] as const)('%s is told and not guessed', (text, column, expected) => {
    const [problem, ...more] = told(text)
    expect(more).toEqual([])
    expect(problem!.column).toBe(column)
    expect(problem!.expected).toMatch(expected)
  })

  it.each([
    'small signal', 'BC109C', 'VP0104N3', '2N3819', '45 V 100 mA', 'IDS 100 mA, VGS ±20 V', 'hie 2-4 k', 'IGSS 1-5 nA', 'gain stage 2', 'VDSS 60-100 V', 'matched to 5 %', '10:1', '4k7 5 %',
  ])('nothing is taken from %s', text => { expect(statedLimits(text)).toEqual({ found: [], problems: [], bare: [] }) })

  it('without any figure is bare', () => {
    expect(statedLimits('matched for hFE and VP; low IDSS preferred').bare).toEqual(['hFE', 'VP', 'IDSS'])
  })

  it('never throws, whatever stands there, and reads what it was written from', () => {
    fc.assert(fc.property(fc.string({ unit: fc.constantFrom(...'hFEβIDSVGPth()off 0123456789.,-–…@<>=≥µumnkAV/;') , maxLength: 60 }), text => {
      for (const { limit: { low, high }, at, end } of statedLimits(text).found) {
        expect(end).toBeGreaterThan(at)
        expect((low ?? 0) < (high ?? Infinity)).toBe(true)
      }
    }))
    fc.assert(fc.property(fc.integer({ min: 1, max: 900 }), fc.integer({ min: 1, max: 900 }), fc.constantFrom('-', '..', ' to ', '…'), (low, more, between) => {
      expect(one(`hFE ${low}${between}${low + more}`)).toEqual({ of: 'gain', low, high: low + more })
      expect(one(`VGS(off) -${low / 100}${between}-${(low + more) / 100} V`)).toEqual({ of: 'cut-off voltage', low: low / 100, high: (low + more) / 100 })
    }))
  })
})
