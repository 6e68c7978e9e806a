import { describe, expect, it } from 'vitest'
import { leakageAt, leakageAtTarget } from '../../src/sequences/formal-leakage.ts'
import type { Measured } from '../../src/schema/reading.ts'

const readings = (currentA: (s: number) => number, u = 1e-6): Measured[] => Array.from({ length: 7 }, (_, i) =>
  ({ value: currentA(2.5 * (i - 6)), u, quality: 'good', atMs: 120_000 + 2500 * (i - 6) }))

describe('the formal leakage', () => {
  it('is the current at the formal instant, not the mean of the seconds before it', () => {
    const seen = leakageAt(readings(s => 1e-3 * (1 + 0.003 * s)), 120_000)
    expect(seen.value).toBeCloseTo(1e-3, 12)
    expect(seen.u).toBeCloseTo(1e-6, 9)
    expect(seen.atMs).toBe(120_000)
  })

  it('counts what all readings share once, and scatter with its few degrees of freedom', () => {
    const shaken = [3, -2, 4, -5, 1, -3, 2].map(n => 2e-6 * n)
    const seen = leakageAt(readings(s => 1e-3 + shaken[Math.round(s / 2.5) + 6]!), 120_000)
    expect(seen.u).toBeGreaterThan(3e-6)
    expect(seen.dof).toBeLessThan(8)
    expect(leakageAt(readings(() => 1e-3), 120_000).u).toBeCloseTo(1e-6, 12)
  })

  it('carries the value to target so that exponents from 1 to 5.5 lie within the expanded uncertainty', () => {
    const known = { value: 1e-3, u: 1e-7, dof: Infinity, quality: 'good' as const, atMs: 0 }
    const at = leakageAtTarget(known, { value: 447.5, u: 0.05 }, 450)
    for (const exponent of [1, 2, 4, 5.5]) {
      const truth = 1e-3 * (450 / 447.5) ** exponent
      expect(Math.abs(at.value - truth), `exponent ${exponent}`).toBeLessThan(1.96 * at.u)
    }
    expect(Math.abs(at.value - 1e-3 * (450 / 447.5) ** 30), 'oxide still forming').toBeGreaterThan(1.96 * at.u)
  })

  it('adds nothing where the part stands at target, and takes away where it stands above', () => {
    const known = { value: 1e-3, u: 1e-6, dof: Infinity, quality: 'good' as const, atMs: 0 }
    expect(leakageAtTarget(known, { value: 450, u: 0 }, 450)).toMatchObject({ value: 1e-3, u: 1e-6 })
    expect(leakageAtTarget(known, { value: 452, u: 0 }, 450).value).toBeLessThan(1e-3)
  })
})
