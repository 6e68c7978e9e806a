import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { leastBleedMs } from '../../src/engine/discharge.ts'
import { harmlessV, mayComeBack } from '../../src/safety/dead.ts'

describe('how long a part stays on its bleeder whatever it reads', () => {
  it('leaves less than is harmless of the most that absorption can have brought back', () => {
    fc.assert(fc.property(fc.double({ min: 0, max: 1000, noNaN: true }), fc.double({ min: 1, max: 1e5, noNaN: true }), (knownV, tauMs) => {
      const leftV = mayComeBack * knownV * Math.exp(-leastBleedMs(knownV, tauMs) / tauMs)
      expect(leftV).toBeLessThanOrEqual(harmlessV * (1 + 1e-9))
    }))
  })

  it('is nothing for a part that stood so low that nothing harmful can come back', () => {
    expect(leastBleedMs(19, 500)).toBe(0)
    expect(leastBleedMs(450, 500)).toBeCloseTo(500 * Math.log(22.5), 6)
  })
})
