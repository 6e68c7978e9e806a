import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { chargeBudgetC, chargeMachine } from '../../src/safety/charge.ts'

describe('charge of a part', () => {
  it('adds up positive current: a constant one gives amps times seconds, however it is sampled', () => {
    fc.assert(fc.property(fc.double({ min: 1e-6, max: 1e-2, noNaN: true }), fc.array(fc.integer({ min: 1, max: 30_000 }), { minLength: 1 }), (amps, gaps) => {
      const machine = chargeMachine(Infinity)
      let state = machine.step(machine.fresh, { atMs: 500, amps })
      let atMs = 500
      for (const gap of gaps) { atMs += gap; state = machine.step(state, { atMs, amps }) }
      const expected = amps * (atMs - 500) / 1000
      expect(Math.abs(state.coulombs - expected)).toBeLessThanOrEqual(1e-9 * expected)
    }))
  })
  it('trips at the budget itself and not before', () => {
    const machine = chargeMachine(10)
    const at = (atS: number, state = machine.fresh) => machine.step(machine.step(state, { atMs: 0, amps: 1 }), { atMs: 1000 * atS, amps: 1 })
    expect(machine.says(at(9.99))).toBeNull()
    expect(machine.says(at(10))).toContain('10.0 C at most')
  })
  it('neither counts nor takes off what flows back', () => {
    const machine = chargeMachine(10)
    let state = machine.step(machine.fresh, { atMs: 0, amps: 1 })
    state = machine.step(state, { atMs: 2000, amps: 1 })
    for (let i = 1; i < 100; i++) state = machine.step(state, { atMs: 2000 + 1000 * i, amps: -5 })
    expect(state.coulombs).toBeGreaterThanOrEqual(2)
    expect(state.coulombs).toBeLessThanOrEqual(2.5)
  })
  it('allows 600 times C times V', () => {
    expect(chargeBudgetC(100e-6, 450)).toBeCloseTo(27, 9)
  })
})
