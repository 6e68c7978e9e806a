import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { reformParameters } from '../../src/sequences/parameters.ts'
import { formingSteps } from '../../src/sequences/steps.ts'

const target = fc.double({ min: 6.3, max: 1000, noNaN: true })
const coarse = fc.double({ min: 0.02, max: 0.25, noNaN: true })
const fine = fc.double({ min: 0.01, max: 0.25, noNaN: true })

describe('formingSteps', () => {
  it('rises strictly, ends at the target exactly, and never passes it', () => {
    fc.assert(fc.property(target, coarse, fine, (targetV, share, fineShare) => {
      const stops = formingSteps(targetV, share, fineShare)
      expect(stops[stops.length - 1]).toBe(targetV)
      stops.forEach((volts, i) => expect(volts).toBeGreaterThan(stops[i - 1] ?? 0))
    }))
  })

  it('takes no step larger than its share, and a last one at most a hundredth of target more', () => {
    fc.assert(fc.property(target, coarse, fine, (targetV, share, fineShare) => {
      const stops = formingSteps(targetV, share, fineShare)
      stops.forEach((volts, i) => {
        const from = stops[i - 1] ?? 0
        const most = (from >= 300 ? fineShare : share) + (i === stops.length - 1 ? 0.01 : 0)
        expect((volts - from) / targetV).toBeLessThanOrEqual(most + 1e-9)
      })
    }))
  })

  it('steps 450 V by 10 % up to 300 V and by 5 % above it', () => {
    const stops = formingSteps(450, 0.1, 0.05)
    expect(stops.map(v => Math.round(10 * v) / 10)).toEqual(
      [45, 90, 135, 180, 225, 270, 315, 337.5, 360, 382.5, 405, 427.5, 450])
  })

  it('has no stop for a target of nothing', () => {
    expect(formingSteps(0, 0.1, 0.05)).toEqual([])
  })

  it('ends also where a share of the target is too small to be a number', () => {
    expect(formingSteps(2e-323, 0.1, 0.05)).toEqual([2e-323])
    expect(reformParameters.safeParse({ targetV: 2e-323 }).success).toBe(false)
    expect(reformParameters.safeParse({ targetV: 1e200 }).success).toBe(false)
    expect(reformParameters.safeParse({ targetV: 1 }).success).toBe(true)
  })
})
