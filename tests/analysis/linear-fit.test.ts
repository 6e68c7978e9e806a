import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { fitLinear, polynomialColumns } from '../../src/analysis/linear-fit.ts'
import { SeededRandom } from '../../src/base/random.ts'

describe('linear fit', () => {
  test('an exact line far from its origin is found exactly', () => {
    fc.assert(fc.property(
      fc.double({ min: -1e3, max: 1e3, noNaN: true }), fc.double({ min: -10, max: 10, noNaN: true }),
      fc.double({ min: -1e6, max: 1e6, noNaN: true }), (b0, b1, origin) => {
        const x = Array.from({ length: 12 }, (_, i) => origin + i)
        const fit = fitLinear({ columns: [x], y: x.map(v => b0 + b1 * v) })
        if (!fit.ok) throw new Error(fit.reason)
        expect(fit.coefficients[1]).toBeCloseTo(b1, 7)
      }))
  })

  test('with stated uncertainties, 95 % intervals of the slope hold the truth 95 % of the time', () => {
    const random = new SeededRandom('coverage')
    let inside = 0
    const x = Array.from({ length: 15 }, (_, i) => i ** 1.3)
    const u = x.map((_, i) => 0.1 + 0.05 * i)
    for (let run = 0; run < 2000; run++) {
      const fit = fitLinear({ columns: [x], y: x.map((v, i) => 2 + 0.3 * v + u[i]! * random.normal()), u })
      if (fit.ok && Math.abs(fit.coefficients[1]! - 0.3) <= 1.959964 * fit.standardErrors[1]!) inside++
    }
    expect(inside / 2000).toBeGreaterThan(0.938)
    expect(inside / 2000).toBeLessThan(0.962)
  })

  test('scaling every u scales the standard errors and not the coefficients', () => {
    const columns = polynomialColumns([0, 1, 2, 3, 5, 8], 2)
    const y = [1, 3, 2, 5, 4, 9]
    const one = fitLinear({ columns, y, u: [1, 1, 2, 1, 1, 1] })
    const three = fitLinear({ columns, y, u: [3, 3, 6, 3, 3, 3] })
    if (!one.ok || !three.ok) throw new Error('no fit')
    one.coefficients.forEach((b, i) => expect(three.coefficients[i]).toBeCloseTo(b, 10))
    one.standardErrors.forEach((se, i) => expect(three.standardErrors[i]).toBeCloseTo(3 * se, 10))
  })

  test('columns that depend on one another and too few points come back as reasons', () => {
    expect(fitLinear({ columns: [[1, 2, 3], [2, 4, 6]], y: [1, 2, 3], u: [1, 1, 1] }))
      .toEqual({ ok: false, reason: 'columns depend' })
    expect(fitLinear({ columns: [[4, 4, 4]], y: [1, 2, 3] })).toEqual({ ok: false, reason: 'columns depend' })
    expect(fitLinear({ columns: [[1, 2]], y: [1, 2] })).toEqual({ ok: false, reason: 'too few points' })
  })

  test('NaN, unequal lengths and an uncertainty of zero are refused', () => {
    expect(() => fitLinear({ columns: [[1, 2, NaN]], y: [1, 2, 3] })).toThrow(/finite/)
    expect(() => fitLinear({ columns: [[1, 2]], y: [1, 2, 3] })).toThrow(/length/)
    expect(() => fitLinear({ columns: [[1, 2, 3]], y: [1, 2, 3], u: [1, 0, 1] })).toThrow(/above 0/)
    expect(() => fitLinear({ columns: [], y: [] })).toThrow(/at least 1/)
    expect(() => polynomialColumns([1], 0)).toThrow(/degree/)
  })
})
