import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { decode } from '../../src/marks/decode.ts'
import { seriesMembers } from '../../src/marks/eseries.ts'
import type { Mark, Sort } from '../../src/marks/mark.ts'
import { written } from '../../src/marks/written.ts'

const read = (text: string, sort?: Sort): Mark => {
  const decoded = decode(text, { sort })
  if (!decoded.ok) throw new Error(JSON.stringify(decoded))
  return decoded.mark
}
const tried = (text: string, sort?: Sort) => {
  const decoded = decode(text, { sort })
  if (decoded.ok) throw new Error(`read as ${JSON.stringify(decoded.mark)}`)
  return decoded
}
const readings = (text: string, sort?: Sort): [Sort, number][] => tried(text, sort).readings.map(({ sort: one, value }) => [one, value])

describe('a mark that says what it is', () => {
  it.each([
    ['4k7', 'resistor', 4700, {}], ['2M2 5%', 'resistor', 2.2e6, { toleranceMinus: 0.05, tolerancePlus: 0.05 }],
    ['4.7 kΩ ±1 %', 'resistor', 4700, { tolerancePlus: 0.01 }], ['4.7 kohms', 'resistor', 4700, {}], ['4.7Meg', 'resistor', 4.7e6, {}],
    ['1/4W 4k7J', 'resistor', 4700, { ratedW: 0.25, tolerancePlus: 0.05 }], ['4k7 0.25W 50ppm/K', 'resistor', 4700, { ratedW: 0.25, tempcoPpmPerK: 50 }],
    ['47 mΩ', 'resistor', 0.047, {}], ['10 kilohms', 'resistor', 10_000, {}], ['2.2 megohm 10%', 'resistor', 2.2e6, { tolerancePlus: 0.1 }],
    ['4k7 ½W', 'resistor', 4700, { ratedW: 0.5 }], ['4k7 ¼ W', 'resistor', 4700, { ratedW: 0.25 }], ['50uF 350 volts', 'capacitor', 50e-6, { ratedV: 350 }],
    ['0.22 mfd. 200 v', 'capacitor', 0.22e-6, { ratedV: 200 }], ['0', 'resistor', 0, {}],
    ['0.01u/630V', 'capacitor', 1e-8, { ratedV: 630, ratedForm: null }], ['0,01 µF 630 V', 'capacitor', 1e-8, { ratedV: 630 }],
    ['0,01 μF 630 V', 'capacitor', 1e-8, { ratedV: 630 }], ['.022uF 400 WVDC', 'capacitor', 22e-9, { ratedV: 400, ratedForm: 'dc' }],
    ['470n', 'capacitor', 470e-9, {}], ['100n (X7R, 50 V)', 'capacitor', 1e-7, { ratedV: 50, dielectric: 'ceramic-2' }], ['1n0', 'capacitor', 1e-9, {}], ['100p', 'capacitor', 100e-12, {}],
    ['0.1 MFD', 'capacitor', 1e-7, {}], ['100 mmf', 'capacitor', 1e-10, {}], ['250 MMFD', 'capacitor', 250e-12, {}], ['4.7NF', 'capacitor', 4.7e-9, {}],
    ['104K 2A', 'capacitor', 1e-7, { ratedV: 100, tolerancePlus: 0.1 }], ['2A474J', 'capacitor', 470e-9, { ratedV: 100, tolerancePlus: 0.05 }],
    ['47uF 6V3', 'capacitor', 47e-6, { ratedV: 6.3 }], ['1500p 1.5kV', 'capacitor', 1.5e-9, { ratedV: 1500 }],
    ['22u -20/+80% 25V', 'capacitor', 22e-6, { toleranceMinus: 0.2, tolerancePlus: 0.8 }], ['22u +50-10%', 'capacitor', 22e-6, { toleranceMinus: 0.1, tolerancePlus: 0.5 }],
    ['4p7 ±0.5pF', 'capacitor', 4.7e-12, { toleranceMinus: 0.106382978723, tolerancePlus: 0.106382978723 }],
    ['0.47µF X2 275V~', 'capacitor', 470e-9, { safetyClasses: ['X2'], ratedV: 275, ratedForm: 'ac' }], ['4n7 X1/Y2 250 VAC', 'capacitor', 4.7e-9, { safetyClasses: ['X1', 'Y2'] }],
    ['100p N750', 'capacitor', 1e-10, { dielectric: 'ceramic-1', tempcoPpmPerK: -750 }], ['100p NP0', 'capacitor', 1e-10, { dielectric: 'ceramic-1' }],
    ['220n polyester 250V', 'capacitor', 220e-9, { dielectric: 'film', ratedV: 250 }], ['100uF electrolytic 25 V', 'capacitor', 1e-4, { dielectric: 'electrolytic' }],
    ['10uH', 'inductor', 1e-5, {}], ['4.7 mH 10%', 'inductor', 4.7e-3, { tolerancePlus: 0.1 }], ['10 H', 'inductor', 10, {}],
  ] as const)('%s', (text, sort, value, ratings) => {
    expect(read(text)).toMatchObject({ sort, value, ...ratings })
  })

  it('is read by its sort where that is said', () => {
    expect(read('103', 'resistor').value).toBe(10_000)
    expect(read('103', 'capacitor').value).toBe(10e-9)
    expect(read('4992', 'resistor').value).toBe(49_900)
    expect(read('4R7', 'resistor').value).toBe(4.7)
    expect(read('4R7', 'capacitor').value).toBe(4.7e-12)
    expect(read('4R7', 'inductor').value).toBe(4.7e-6)
    expect(read('4u7', 'inductor').value).toBe(4.7e-6)
    expect(read('101K', 'inductor')).toMatchObject({ value: 100e-6, tolerancePlus: 0.1 })
  })
})

describe('a mark with more than one meaning is not decided', () => {
  it.each<[string, Sort | undefined, [Sort, number][]]>([
    ['103', undefined, [['resistor', 10_000], ['capacitor', 10e-9], ['inductor', 10e-3]]],
    ['R47', undefined, [['resistor', 0.47], ['capacitor', 0.47e-12], ['inductor', 0.47e-6]]],
    ['103K', 'resistor', [['resistor', 103_000], ['resistor', 10_000]]],
    ['1,000 pF', undefined, [['capacitor', 1e-12], ['capacitor', 1e-9]]],
    ['10 mF', undefined, [['capacitor', 10e-3], ['capacitor', 10e-6]]],
    ['2m2', 'resistor', [['resistor', 2.2e-3], ['resistor', 2.2e6]]],
    ['470', 'resistor', [['resistor', 470], ['resistor', 47]]],
    ['100', 'capacitor', [['capacitor', 10e-12], ['capacitor', 100e-12], ['capacitor', 100e-6]]],
    ['47', 'capacitor', [['capacitor', 47e-12], ['capacitor', 47e-6]]],
    ['4.7', 'resistor', [['resistor', 4.7]]],
  ])('%s', (text, sort, all) => {
    expect(readings(text, sort)).toEqual(all)
    expect(tried(text, sort).problems).toHaveLength(1)
  })

  it('in a list a bare number for a resistor stays open, on a part it is a code', () => {
    expect(decode('103', { sort: 'resistor', origin: 'list' }).ok).toBe(false)
    expect(decode('103', { sort: 'resistor', origin: 'part' }).ok).toBe(true)
    expect(decode('100K', { sort: 'resistor', origin: 'list' })).toMatchObject({ ok: true, mark: { value: 100_000 } })
  })

  it('a letter that two sources read differently leaves the value and not the tolerance', () => {
    expect(read('47kH', 'resistor')).toMatchObject({ value: 47_000, toleranceMinus: null, alternatives: [{}, {}] })
  })
  it('a chip may mean something else by its letter, and that is told', () => {
    expect(read('47R', 'resistor')).toMatchObject({ value: 47, alternatives: [{ change: { value: 3.01 } }] })
  })
})

describe('what cannot be read', () => {
  it.each([
    ['', 1, 'the end'], ['foo', 1, '"foo"'], ['4k7 bar', 5, '"bar"'], ['100n 5% 10%', 9, '"10%"'], ['100n 50V 63V', 10, '"63V"'],
    ['100n ±0.5pFx', 6, '"±0.5pFx"'], ['4k7 2A', 5, '"2A"'], ['2Y104', 1, '"2Y104"'], ['10u 200% -', 5, '"200% -"'], ['4k7ZZ', 1, '"4k7ZZ"'],
  ])('%s is told with its column', (text, column, got) => {
    const { problems, readings: none } = tried(text)
    expect(none).toEqual([])
    expect(problems.map(problem => [problem.column, problem.got])).toEqual([[column, got]])
  })
  it('is told of a tolerance letter that is none on such a part', () => {
    expect(tried('4k7Z', 'resistor').problems[0]).toMatchObject({ column: 4, expected: expect.stringContaining('tolerance letter') as string })
  })
  it('is told of a text that is too long', () => { expect(tried('1'.repeat(121)).problems[0]!.column).toBe(121) })
})

const decades = fc.integer({ min: -3, max: 8 })
const figures = fc.constantFrom(...seriesMembers('E192'), ...seriesMembers('E24'))
const percent = fc.constantFrom(...Object.entries({ F: 0.01, G: 0.02, J: 0.05, K: 0.1, M: 0.2 }))

describe('what is written is read back', () => {
  it('as drawings have it, for each sort', () => {
    fc.assert(fc.property(figures, decades, percent, (three, decade, [letter, share]) => {
      const ohm = Number(`${three}e${decade - 3}`)
      expect(read(`${written('resistor', ohm)} ${letter}`, 'resistor')).toMatchObject({ value: ohm, tolerancePlus: share })
      const farad = Number(`${three}e${decade - 13}`)
      expect(read(written('capacitor', farad), 'capacitor').value).toBe(farad)
      const henry = Number(`${three}e${decade - 10}`)
      expect(read(written('inductor', henry), 'inductor').value).toBe(henry)
    }), { numRuns: 500 })
  })
  it('as a code of figures', () => {
    fc.assert(fc.property(fc.constantFrom(...seriesMembers('E24')), fc.integer({ min: 1, max: 6 }), percent, (three, zeros, [letter, share]) => {
      const mark = read(`${three / 10}${zeros}${letter}`, 'capacitor')
      expect(mark).toMatchObject({ value: Number(`${three / 10}e${zeros - 12}`), toleranceMinus: share })
    }))
  })
  it('as a number with its unit, point or comma', () => {
    const prefix = fc.constantFrom(['m', -3], ['', 0], ['k', 3], ['M', 6]) as fc.Arbitrary<[string, number]>
    fc.assert(fc.property(fc.integer({ min: 1, max: 99 }), fc.integer({ min: 0, max: 99 }), prefix, fc.constantFrom('.', ','), (whole, part, [sign, power], mark) => {
      expect(read(`${whole}${mark}${part} ${sign}Ω`).value).toBe(Number(`${whole}.${part}e${power}`))
    }))
  })
})

describe('any text', () => {
  const pieces = fc.array(fc.oneof(fc.string({ unit: 'grapheme', maxLength: 6 }), fc.constantFrom(
    '4k7', '104', 'K', '2A', '%', '±', '+', '-', '/', ' ', 'V', '1', ',', '.', 'µ', 'F', 'R', 'X7R', 'Y2', 'ppm', '__proto__', 'constructor', 'W', '20')), { maxLength: 14 })
  it('is read or refused in words, never by throwing', () => {
    fc.assert(fc.property(pieces, fc.constantFrom(undefined, 'resistor', 'capacitor', 'inductor') as fc.Arbitrary<Sort | undefined>, fc.constantFrom('part', 'list') as fc.Arbitrary<'part' | 'list'>, (list, sort, origin) => {
      const text = list.join('')
      const decoded = decode(text, { sort, origin })
      const marks = decoded.ok ? [decoded.mark] : decoded.readings
      for (const mark of marks) {
        expect(mark.value > 0 || (mark.value === 0 && mark.sort === 'resistor')).toBe(true)
        expect(Number.isFinite(mark.value)).toBe(true)
        for (const share of [mark.toleranceMinus, mark.tolerancePlus]) expect(share === null || (share >= 0 && Number.isFinite(share))).toBe(true)
        if (sort) expect(mark.sort).toBe(sort)
      }
      if (!decoded.ok) {
        expect(decoded.problems.length).toBeGreaterThan(0)
        for (const { column } of decoded.problems) expect(column >= 1 && column <= text.length + 1).toBe(true)
      }
    }), { numRuns: 3000 })
  })
  it('made to branch comes to an end', () => {
    for (const text of ['axial '.repeat(20), '4k7 '.repeat(30), '/'.repeat(120), 'X1/'.repeat(40), '1,000 '.repeat(20)]) decode(text)
  })
})
