import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { flashMachine, flashShare } from '../../src/safety/flash.ts'
import type { FlashInput } from '../../src/safety/flash.ts'

const says = (inputs: readonly FlashInput[]): string | null =>
  flashMachine.says(inputs.reduce((state, input) => flashMachine.step(state, input), flashMachine.fresh))
const at = (partV: number, busV = 450, askedV = 450): FlashInput => ({ partV, busV, askedV })

describe('flash-over', () => {
  it('trips on one step that comes back, at its bound and above', () => {
    fc.assert(fc.property(fc.double({ min: flashShare, max: 0.3, noNaN: true }), share => {
      expect(says([at(448), at(448), at(448 - share * 450 - 1e-9), at(448)])).toContain('flashes over')
    }))
  })

  it('passes smaller steps, a part that slowly takes less, and what stays down (a short)', () => {
    fc.assert(fc.property(fc.double({ min: 0, max: flashShare - 1e-6, noNaN: true }), share => {
      expect(says([at(448), at(448 - share * 450), at(448)])).toBe(null)
    }))
    expect(says(Array.from({ length: 50 }, (_, i) => at(440 + 8 * (1 - Math.exp(-i / 5)))))).toBe(null)
    expect(says([at(448), at(20), at(20), at(20)])).toBe(null)
  })

  it('passes steps that the bus explains, and steps between two set-points', () => {
    expect(says([at(448), at(430, 432), at(448)])).toBe(null)
    expect(says([at(400, 405, 405), at(380, 405, 427), at(400, 405, 427)])).toBe(null)
  })
})
