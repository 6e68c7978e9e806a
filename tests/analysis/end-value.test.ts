import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { valueAt } from '../../src/analysis/end-value.ts'
import { mean } from '../../src/analysis/statistics.ts'
import { tQuantile } from '../../src/analysis/distributions.ts'
import { SeededRandom } from '../../src/base/random.ts'

/** Seven readings, 2.5 s apart, the last at the instant asked for. */
const times = Array.from({ length: 7 }, (_, i) => 2.5 * (i - 6))
const finite = fc.double({ min: -10, max: 10, noNaN: true })

describe('a value at the end of a window', () => {
  it('is exact on any parabola, where a mean lags behind', () => {
    fc.assert(fc.property(finite, finite, finite, (a, b, c) => {
      const y = times.map(t => a + b * t + c * t * t)
      const size = Math.max(1, ...y.map(Math.abs))
      expect(Math.abs(valueAt(times, y, 0).value - a)).toBeLessThan(1e-10 * size)
    }))
    const rising = times.map(t => 1 + 0.01 * t)
    expect(mean(rising)).toBeCloseTo(0.925, 9)
    expect(valueAt(times, rising, 0).value).toBeCloseTo(1, 9)
  })

  it('follows a fall as 1/t two minutes after voltage within 0.01 %, where a mean is 6 % off', () => {
    const falling = times.map(t => 120 / (120 + t))
    expect(Math.abs(valueAt(times, falling, 0).value - 1)).toBeLessThan(1e-4)
    expect(mean(falling) - 1).toBeGreaterThan(0.06)
  })

  it('says an uncertainty that covers as often as it claims, and not when halved', () => {
    const random = new SeededRandom(5)
    const rounds = 2500
    const inside = (share: number): number => {
      let count = 0
      for (let i = 0; i < rounds; i++) {
        const { value, u, dof } = valueAt(times, times.map(t => 3 + 0.1 * t + random.normal()), 0)
        if (Math.abs(value - 3) <= share * u * tQuantile(0.975, dof)) count++
      }
      return count / rounds
    }
    expect(inside(1)).toBeGreaterThan(0.935)
    expect(inside(1)).toBeLessThan(0.965)
    expect(inside(0.5)).toBeLessThan(0.85)
  })

  it('takes a line of four readings, a mean of three, and one as it is', () => {
    expect(valueAt([-3, -2, -1, 0], [1, 2, 3, 4], 0)).toMatchObject({ dof: 2 })
    expect(valueAt([-3, -2, -1, 0], [1, 2, 3, 4], 0).value).toBeCloseTo(4, 9)
    expect(valueAt([-2, -1, 0], [1, 2, 3], 0)).toMatchObject({ value: 2, dof: 2 })
    expect(valueAt([0], [7], 0)).toEqual({ value: 7, u: 0, dof: Infinity })
  })

  it('has no number for readings that are none, and refuses times that do not rise', () => {
    expect(valueAt([-1, 0], [1, NaN], 0).value).toBeNaN()
    expect(() => valueAt([], [], 0)).toThrow(/needs a reading/)
    expect(() => valueAt([0, 0], [1, 2], 0)).toThrow()
  })
})
