import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { coldestC, deratedV, serviceLife, type RatedLife } from '../../src/analysis/service-life.ts'

const number = (min: number, max: number) => fc.double({ min, max, noNaN: true })
const rated = fc.record({ ratedH: number(100, 20_000), atC: fc.constantFrom(70, 85, 105, 125), ratedV: number(4, 500) })
/** Shares of the way from the coldest to the rated temperature, and of the rated volts. */
const share = number(0, 1)
const lives = (of: RatedLife, warm: number, volts: number) =>
  serviceLife(of, { temperatureC: coldestC + warm * (of.atC - coldestC), volts: volts * of.ratedV })!

describe('the life of a part in its unit', () => {
  it('halves for each 10 K more, at any volts', () => {
    fc.assert(fc.property(rated, share, share, (of, warm, volts) => {
      const temperatureC = coldestC + warm * (of.atC - 10 - coldestC)
      const at = (celsius: number) => serviceLife(of, { temperatureC: celsius, volts: volts * of.ratedV })!.hours
      expect(at(temperatureC) / at(temperatureC + 10)).toBeCloseTo(2, 9)
    }))
  })

  it('is no longer where it is warmer, or at more volts, and neither is either end of its range', () => {
    fc.assert(fc.property(rated, share, share, share, share, (of, a, b, c, d) => {
      const [cool, warm, few, many] = [Math.min(a, b), Math.max(a, b), Math.min(c, d), Math.max(c, d)]
      const [longer, shorter] = [lives(of, cool, few), lives(of, warm, many)]
      for (const key of ['hours', 'lowH', 'highH'] as const) expect(longer[key]).toBeGreaterThanOrEqual(shorter[key] * (1 - 1e-12))
    }))
  })

  it('lies inside its range, which is never a point and grows with the way from the data sheet', () => {
    fc.assert(fc.property(rated, share, share, share, (of, a, b, volts) => {
      const [far, near] = [lives(of, Math.min(a, b), volts), lives(of, Math.max(a, b), volts)]
      for (const { hours, lowH, highH } of [far, near]) {
        expect(lowH).toBeLessThan(hours)
        expect(hours).toBeLessThan(highH)
        expect(highH / lowH).toBeGreaterThanOrEqual(2)
      }
      expect(far.highH / far.lowH).toBeGreaterThanOrEqual(near.highH / near.lowH * (1 - 1e-9))
    }))
  })

  it('is that of the data sheet at its temperature and volts, and holds a true reaction of either energy', () => {
    fc.assert(fc.property(rated, share, number(0.59, 0.83), (of, warm, energyEv) => {
      expect(lives(of, 1, 1).hours).toBeCloseTo(of.ratedH, 6)
      const { lowH, highH } = lives(of, warm, 1)
      const kelvin = coldestC + warm * (of.atC - coldestC) + 273.15
      const truth = of.ratedH * Math.exp(energyEv / 8.617333e-5 * (1 / kelvin - 1 / (of.atC + 273.15)))
      expect(truth).toBeGreaterThanOrEqual(lowH)
      expect(truth).toBeLessThanOrEqual(highH)
    }))
  })

  it('cannot be told above the temperature or the volts of its data sheet, and is not stretched into the cold', () => {
    const of = { ratedH: 2000, atC: 85, ratedV: 450 }
    expect(serviceLife(of, { temperatureC: 85.1, volts: 450 })).toBeNull()
    expect(serviceLife(of, { temperatureC: 40, volts: 450.1 })).toBeNull()
    expect(serviceLife(of, { temperatureC: -20, volts: 0 })).toEqual(serviceLife(of, { temperatureC: coldestC, volts: 225 }))
    for (const wrong of [NaN, -300]) expect(() => serviceLife(of, { temperatureC: wrong, volts: 1 })).toThrow()
  })
})

describe('the rated volts at a temperature', () => {
  it('hold up to where they begin to fall, never rise, and never go below none', () => {
    fc.assert(fc.property(number(4, 500), number(0, 120), number(0.001, 0.1), number(-55, 200), number(0, 100), (ratedV, aboveC, sharePerK, at, more) => {
      const of = (celsius: number) => deratedV(ratedV, { aboveC, sharePerK }, celsius)
      expect(of(Math.min(at, aboveC))).toBe(ratedV)
      expect(of(at + more)).toBeLessThanOrEqual(of(at))
      expect(of(at)).toBeGreaterThanOrEqual(0)
      expect(of(aboveC + 1 / sharePerK)).toBeCloseTo(0, 6)
      expect(deratedV(ratedV, null, at)).toBe(ratedV)
    }))
  })
})
