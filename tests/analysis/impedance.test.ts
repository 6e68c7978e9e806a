import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import {
  type ImpedancePair, correctOpenShort, correctOpenShortWithU, describeImpedance, describePair, toImpedance,
  withOpenShort,
} from '../../src/analysis/impedance.ts'
import { SeededRandom } from '../../src/base/random.ts'

const positive = (min: number, max: number) => fc.double({ min, max, noNaN: true })

describe('impedance', () => {
  test('every way to state an impedance leads back to it', () => {
    fc.assert(fc.property(positive(1e-3, 1e5), positive(1e-2, 1e5), fc.boolean(), positive(20, 1e5),
      (r, x, inductive, f) => {
      const z = { rOhm: r, xOhm: inductive ? x : -x }
      const all = describeImpedance(z, f)
      const stated: ImpedancePair[] = [
        { pair: 'R-X', first: all.rOhm, second: all.xOhm },
        { pair: 'Z-phase', first: all.zOhm, second: all.phaseRad },
        ...(inductive
          ? [
            { pair: 'Ls-Q', first: all.lsH, second: all.q },
            { pair: 'Ls-Rs', first: all.lsH, second: all.esrOhm },
            { pair: 'Lp-Q', first: all.lpH, second: all.q },
            { pair: 'Lp-Rp', first: all.lpH, second: all.rpOhm },
          ] as const
          : [
            { pair: 'Cs-D', first: all.csF, second: all.d }, { pair: 'Cs-Q', first: all.csF, second: all.q },
            { pair: 'Cs-ESR', first: all.csF, second: all.esrOhm },
            { pair: 'Cp-D', first: all.cpF, second: all.d },
            { pair: 'Cp-Q', first: all.cpF, second: all.q },
            { pair: 'Cp-Rp', first: all.cpF, second: all.rpOhm },
          ] as const),
      ]
      for (const pair of stated) {
        const back = toImpedance(pair, f)
        const error = Math.hypot(back.rOhm - z.rOhm, back.xOhm - z.xOhm)
        expect(error / all.zOhm).toBeLessThan(1e-9)
      }
    }))
  })

  test('uncertainty carried through agrees with drawn readings, correlation included', () => {
    const random = new SeededRandom('bridge')
    const reading = { pair: 'Cs-D', first: 10e-6, second: 0.2, uFirst: 0.05e-6, uSecond: 0.004,
      correlation: 0.6 } as const
    const { u } = describePair(reading, 120)
    const drawn = Array.from({ length: 20_000 }, () => {
      const [a, b] = [random.normal(), random.normal()]
      const second = reading.second + reading.uSecond * (0.6 * a + 0.8 * b)
      const z = toImpedance({ pair: 'Cs-D', first: reading.first + reading.uFirst * a, second }, 120)
      return describeImpedance(z, 120)
    })
    for (const name of ['esrOhm', 'cpF', 'zOhm', 'rpOhm', 'phaseRad', 'q'] as const) {
      const middle = drawn.reduce((s, z) => s + z[name], 0) / drawn.length
      const scatter = Math.sqrt(drawn.reduce((s, z) => s + (z[name] - middle) ** 2, 0) / drawn.length)
      expect(scatter / u[name]).toBeGreaterThan(0.97)
      expect(scatter / u[name]).toBeLessThan(1.03)
    }
  })

  test('the frequency counts where it should: X yes, C no', () => {
    const { u, value } = describePair({ pair: 'Cs-D', first: 1e-6, second: 0 }, 1000, 10)
    expect(u.xOhm / Math.abs(value.xOhm)).toBeCloseTo(0.01, 6)
    expect(u.csF / value.csF).toBeLessThan(1e-9)
  })

  test('what does not exist is NaN: inductance of a capacitor, and its uncertainty', () => {
    const { value, u } = describePair({ pair: 'R-X', first: 1, second: -10, uFirst: 0.1, uSecond: 0.1 }, 100)
    expect(value.lsH).toBeNaN()
    expect(u.lsH).toBeNaN()
    expect(u.csF).toBeGreaterThan(0)
    const lossless = describePair({ pair: 'R-X', first: 0, second: -10, uFirst: 0.1, uSecond: 0.1 }, 100)
    expect(lossless.value.rpOhm).toBe(Infinity)
    expect(lossless.u.rpOhm).toBeNaN()
    expect(lossless.u.d).toBeCloseTo(0.01, 6)
  })

  test('open/short correction undoes any fixture', () => {
    fc.assert(fc.property(positive(0.01, 1e4), positive(-1e4, 1e4), positive(0, 2), positive(-2, 2),
      (r, x, rs, xs) => {
      const fixture = { short: { rOhm: rs, xOhm: xs }, open: { gS: 1e-7, bS: 3e-6 } }
      const back = correctOpenShort(withOpenShort({ rOhm: r, xOhm: x }, fixture), fixture)
      expect(Math.hypot(back.rOhm - r, back.xOhm - x) / Math.hypot(r, x)).toBeLessThan(1e-6)
    }))
  })

  test('corrected u is the sum of squares at a middle impedance and grows by the open at a high one', () => {
    const fixture = { short: { rOhm: 0.1, xOhm: 0.2 }, open: { gS: 1e-8, bS: 1e-6 } }
    const [uShort, uOpen] = [{ rOhm: 0.004, xOhm: 0.004 }, { gS: 1e-9, bS: 1e-9 }]
    const u = { rOhm: 0.003, xOhm: 0.003 }
    const low = correctOpenShortWithU({ rOhm: 10, xOhm: -20 }, u, fixture, uShort, uOpen)
    expect(low.u.rOhm).toBeCloseTo(0.005, 5)
    const high = correctOpenShortWithU({ rOhm: 1e4, xOhm: -1e5 }, u, fixture, uShort, uOpen)
    expect(high.u.rOhm).toBeGreaterThan(5)
  })

  test('no frequency and negative uncertainties are refused', () => {
    expect(() => describeImpedance({ rOhm: 1, xOhm: 1 }, 0)).toThrow(/frequency/)
    expect(() => describePair({ pair: 'R-X', first: 1, second: 1, uFirst: -1 }, 50)).toThrow(/0 or more/)
    expect(() => describePair({ pair: 'R-X', first: 1, second: 1, correlation: 2 }, 50))
      .toThrow(/correlation/)
  })
})
