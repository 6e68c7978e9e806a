import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { isIn, nearestIn, seriesMembers, seriesNames, seriesRemark } from '../../src/marks/eseries.ts'
import { written } from '../../src/marks/written.ts'

const remark = (value: number, tolerance: number | null): string | null => seriesRemark(value, tolerance, ohm => written('resistor', ohm))

describe('preferred values', () => {
  it('the nearest is no farther by ratio than any other, across decades', () => {
    fc.assert(fc.property(fc.constantFrom(...seriesNames), fc.double({ min: 1e-12, max: 1e12, noNaN: true }), (name, value) => {
      const found = nearestIn(name, value).value
      const others = [-14, -1, 0, 1].flatMap(by => seriesMembers(name).map(member => member * 10 ** (Math.floor(Math.log10(value)) + by - 2)))
      const least = Math.min(...others.map(other => Math.abs(Math.log(other / value))))
      expect(Math.abs(Math.log(found / value))).toBeLessThanOrEqual(least + 1e-9)
    }))
  })
  it('members of every decade are in, their neighbours are not', () => {
    for (const decade of [-13, -3, 0, 3, 9]) {
      expect(isIn('E24', Number(`47e${decade}`))).toBe(true)
      expect(isIn('E24', Number(`46e${decade}`))).toBe(false)
    }
    expect(isIn('E96', 4.7)).toBe(false)
    expect(isIn('E24', 0)).toBe(false)
    expect(() => nearestIn('E24', 0)).toThrow(RangeError)
    expect(() => nearestIn('E24', NaN)).toThrow(RangeError)
  })
  it.each([
    [4600, 0.05, '4k6 is not in E24; nearest 4k7'], [4700, 0.05, null], [4700, 0.01, null], [4750, 0.01, null],
    [4800, 0.01, '4k8 is not in E24 or E96; nearest 4k75'], [5100, 0.1, '5k1 is not in E12, though it is in E24; nearest 4k7'],
    [4600, null, '4k6 is not in E24 or E192; nearest 4k59'], [9700, 0.05, '9k7 is not in E24; nearest 10k'], [47, 0.5, null], [0, 0.05, null], [NaN, 0.05, null],
  ])('%d of %d: %s', (value, tolerance, words) => { expect(remark(value, tolerance)).toBe(words) })
})

describe('written values', () => {
  it.each([
    ['resistor', 4700, '4k7'], ['resistor', 0.47, 'R47'], ['resistor', 0.1, 'R1'], ['resistor', 0.022, 'R022'], ['resistor', 0.0047, '4L7'], ['resistor', 470, '470R'], ['resistor', 999_999.9, '1M'], ['resistor', 0, '0R'], ['resistor', 123_456, '123k456'],
    ['capacitor', 4.7e-9, '4n7'], ['capacitor', 3.3e-13, '0p33'], ['capacitor', 0, '0'], ['inductor', 1e-5, '10 µH'], ['inductor', 4.7e-3, '4.7 mH'],
  ] as const)('%s %d is %s', (sort, value, text) => { expect(written(sort, value)).toBe(text) })
})
