import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import {
  combineUncertainty, expandUncertainty, numericalSensitivities, propagateCovariance, uRectangular,
} from '../../src/analysis/uncertainty.ts'

const component = fc.record({
  label: fc.constant('x'), dof: fc.integer({ min: 1, max: 60 }),
  u: fc.double({ min: 0.01, max: 10, noNaN: true }),
  sensitivity: fc.double({ min: 0.1, max: 5, noNaN: true }),
})

describe('uncertainty', () => {
  test('a bound is divided by root 3', () => {
    expect(uRectangular(3)).toBeCloseTo(Math.sqrt(3), 14)
  })

  test('effective degrees of freedom lie between the smallest and the sum of all', () => {
    fc.assert(fc.property(fc.array(component, { minLength: 1, maxLength: 8 }), parts => {
      const { u, dof, contributions } = combineUncertainty(parts)
      expect(dof).toBeGreaterThanOrEqual(Math.min(...parts.map(p => p.dof)) - 1e-6)
      expect(dof).toBeLessThanOrEqual(parts.reduce((s, p) => s + p.dof, 0) + 1e-6)
      expect(u).toBeCloseTo(Math.hypot(...contributions), 9)
    }))
  })

  test('full correlation adds, full anti-correlation cancels', () => {
    const parts = [{ label: 'a', u: 3 }, { label: 'b', u: 3 }]
    expect(combineUncertainty(parts, [{ a: 0, b: 1, r: 1 }]).u).toBeCloseTo(6, 12)
    expect(combineUncertainty(parts, [{ a: 0, b: 1, r: -1 }]).u).toBeCloseTo(0, 12)
    expect(combineUncertainty(parts).dof).toBe(Infinity)
  })

  test('degrees of freedom are cut, never rounded up, and never below one', () => {
    expect(expandUncertainty(1, 16.999).dofUsed).toBe(16)
    expect(expandUncertainty(1, 0.4).dofUsed).toBe(1)
    expect(expandUncertainty(1, 16).expanded).toBe(expandUncertainty(1, 16.9).expanded)
    expect(expandUncertainty(2).k).toBeCloseTo(1.959964, 6)
  })

  test('sensitivities of a product are its other factors', () => {
    const [a, b, c] = numericalSensitivities(([x, y, z]) => x! * y! * z!, [2, 3, 0], [0.1, 0, 0.1])
    expect(a).toBeCloseTo(0, 10)
    expect(b).toBeCloseTo(0, 10)
    expect(c).toBeCloseTo(6, 10)
  })

  test('propagation through a linear model is J V Jt', () => {
    const result = propagateCovariance(
      [([x, y]) => x! + y!, ([x, y]) => x! - y!], [1, 2], [[4, 1], [1, 9]])
    expect(result.values).toEqual([3, -1])
    expect(result.u[0]).toBeCloseTo(Math.sqrt(15), 6)
    expect(result.u[1]).toBeCloseTo(Math.sqrt(11), 6)
    expect(result.covariance[0]![1]).toBeCloseTo(-5, 6)
  })

  test('negative and NaN uncertainties, bad correlations and empty budgets are refused', () => {
    expect(() => combineUncertainty([])).toThrow(/needs a component/)
    expect(() => combineUncertainty([{ label: 'leak', u: NaN }])).toThrow(/leak/)
    expect(() => combineUncertainty([{ label: 'leak', u: -1 }])).toThrow(/leak/)
    expect(() => combineUncertainty([{ label: 'a', u: 1 }], [{ a: 0, b: 1, r: 0 }])).toThrow(/two components/)
    expect(() => combineUncertainty([{ label: 'a', u: 1, dof: 0 }])).toThrow(/degrees of freedom/)
    expect(() => expandUncertainty(1, 5, 1)).toThrow(/coverage/)
  })
})
