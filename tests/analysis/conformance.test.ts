import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import {
  type Grade, acceptanceInterval, combineGrades, judgeConformance, pConform,
} from '../../src/analysis/conformance.ts'
import { SeededRandom } from '../../src/base/random.ts'

const finite = (min: number, max: number) => fc.double({ min, max, noNaN: true })

describe('judgeConformance', () => {
  test.each<[y: number, grade: Grade]>([
    [8, 'accept'], [8.35, 'accept'], [8.36, 'marginal'], [10, 'marginal'], [11.64, 'marginal'],
    [11.65, 'reject'],
  ])('%f with u 1 against at most 10 is %s (guard band 1.645)', (y, grade) => {
    expect(judgeConformance({ y, u: 1 }, { upper: 10 }).grade).toBe(grade)
    expect(judgeConformance({ y: -y, u: 1 }, { lower: -10 }).grade).toBe(grade)
  })

  test('accept means at least 95 % within the limits, reject at most 5 %', () => {
    fc.assert(fc.property(finite(-50, 50), finite(0.01, 20), finite(1, 40), finite(1, 100),
      (y, u, half, dof) => {
      const found = judgeConformance({ y, u, dof }, { lower: -half, upper: half })
      if (found.grade === 'accept') expect(found.pConform).toBeGreaterThanOrEqual(0.95 - 1e-8)
      if (found.grade === 'reject') expect(found.pConform).toBeLessThanOrEqual(0.05 + 1e-8)
    }))
  })

  test('a larger u never turns a grade into accept', () => {
    fc.assert(fc.property(finite(0, 12), finite(0.01, 3), finite(1, 4), (y, u, factor) => {
      const [small, large] = [u, u * factor].map(v => judgeConformance({ y, u: v }, { upper: 10 }).grade)
      if (small !== 'accept') expect(large).not.toBe('accept')
    }))
  })

  test('false acceptance of parts at the limit is 5 %, false rejection too (seeded)', () => {
    const random = new SeededRandom('edge')
    const grades = Array.from({ length: 20_000 }, () =>
      judgeConformance({ y: 10 + random.normal(), u: 1 }, { upper: 10 }).grade)
    for (const grade of ['accept', 'reject'] as const) {
      const share = grades.filter(g => g === grade).length / grades.length
      expect(share).toBeGreaterThan(0.044)
      expect(share).toBeLessThan(0.056)
    }
  })

  test('u above a third of the limit cannot tell, but what is shown to be bad is bad', () => {
    expect(judgeConformance({ y: 2, u: 3.4 }, { upper: 10 }))
      .toMatchObject({ grade: 'cannot tell', reason: 'uncertainty above a third of the limit' })
    expect(judgeConformance({ y: 2, u: 3.3 }, { upper: 10 }).grade).toBe('accept')
    expect(judgeConformance({ y: 100, u: 5 }, { upper: 10 }).grade).toBe('reject')
    expect(judgeConformance({ y: 0, u: 4 }, { lower: -6, upper: 6 }))
      .toMatchObject({ grade: 'cannot tell', reason: 'no acceptance interval' })
    expect(judgeConformance({ y: -5, u: 1 }, { upper: 0 }).grade).toBe('accept')
  })

  test('NaN, infinite and negative uncertainty cannot tell', () => {
    for (const measured of [{ y: NaN, u: 1 }, { y: 1, u: NaN }, { y: Infinity, u: 1 }, { y: 1, u: -1 },
      { y: 1, u: 1, dof: NaN }]) {
      const found = judgeConformance(measured, { upper: 10 })
      expect(found).toMatchObject({ grade: 'cannot tell', reason: 'not a number' })
      expect(found.pConform).toBeNaN()
    }
  })

  test('a narrow interval is not accepted in its middle unless 95 % lies within', () => {
    const limits = { lower: -1.8, upper: 1.8 }
    expect(judgeConformance({ y: 0, u: 1 }, limits)).toMatchObject({ grade: 'marginal' })
    expect(judgeConformance({ y: 0, u: 0.9 }, limits)).toMatchObject({ grade: 'accept' })
  })

  test('a guard band of its own replaces the confidence; zero is simple acceptance', () => {
    expect(judgeConformance({ y: 9.99, u: 1 }, { upper: 10 }, { guardBand: 0 }).grade).toBe('accept')
    expect(judgeConformance({ y: 10.01, u: 1 }, { upper: 10 }, { guardBand: 0 }).grade).toBe('reject')
    expect(judgeConformance({ y: 8.5, u: 1 }, { upper: 10 }, { guardBand: 2 }).grade).toBe('marginal')
  })

  test('few degrees of freedom widen the guard band', () => {
    expect(judgeConformance({ y: 8, u: 1 }, { upper: 10 }).grade).toBe('accept')
    expect(judgeConformance({ y: 8, u: 1, dof: 3 }, { upper: 10 }).grade).toBe('marginal')
  })

  test('a prior moves the probability towards what was known, and leaves the grade', () => {
    const [limits, measured] = [{ upper: 10 }, { y: 9.9, u: 1 }]
    const good = judgeConformance(measured, limits, { prior: { mean: 5, sd: 1 } })
    const vague = judgeConformance(measured, limits, { prior: { mean: 5, sd: 1e6 } })
    const none = judgeConformance(measured, limits)
    expect(good.pConform).toBeGreaterThan(none.pConform)
    expect(vague.pConform).toBeCloseTo(none.pConform, 6)
    expect(good.grade).toBe(none.grade)
  })

  test('an exact value is in or out', () => {
    expect(pConform({ y: 10, u: 0 }, { upper: 10 })).toBe(1)
    expect(pConform({ y: 10.1, u: 0 }, { upper: 10 })).toBe(0)
  })

  test('no limit, crossed limits and a NaN limit are refused', () => {
    expect(() => judgeConformance({ y: 1, u: 1 }, {})).toThrow(/needs a limit/)
    expect(() => judgeConformance({ y: 1, u: 1 }, { lower: 2, upper: 1 })).toThrow(/below/)
    expect(() => judgeConformance({ y: 1, u: 1 }, { upper: NaN })).toThrow(/not a number/)
    expect(() => judgeConformance({ y: 1, u: 1 }, { upper: 1 }, { confidence: 0.4 })).toThrow(/confidence/)
    expect(acceptanceInterval(10, { lower: 0, upper: 1 })).toBeUndefined()
  })
})

describe('combineGrades', () => {
  const part = (grade: Grade, p: number) => ({ grade, pConform: p })

  test('the worst grade wins', () => {
    expect(combineGrades([part('accept', 1), part('marginal', 0.9)]).grade).toBe('marginal')
    expect(combineGrades([part('cannot tell', 0.9), part('marginal', 0.9)]).grade).toBe('cannot tell')
    expect(combineGrades([part('cannot tell', 0.9), part('reject', 0)]).grade).toBe('reject')
    expect(combineGrades([part('accept', 0.99)]).grade).toBe('accept')
  })

  test('probabilities multiply, the sure bound is lower, and an unknown part leaves both unknown', () => {
    const { pConform: product, pConformAtLeast } = combineGrades([part('accept', 0.9), part('accept', 0.8)])
    expect(product).toBeCloseTo(0.72, 12)
    expect(pConformAtLeast).toBeCloseTo(0.7, 12)
    expect(combineGrades([part('accept', 1), part('cannot tell', NaN)]).pConform).toBeNaN()
    expect(combineGrades([part('accept', 1), part('cannot tell', NaN)]).pConformAtLeast).toBeNaN()
    expect(() => combineGrades([])).toThrow(/criterion/)
  })
})
