import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { readBackMachine } from '../../src/safety/read-back.ts'

function toldAtMs(toleranceV: number, voltsOf: (tS: number) => number, askedOf: (tS: number) => number): number | null {
  const machine = readBackMachine({ toleranceV, offMs: 20_000 })
  let state = machine.fresh
  for (let tS = 0; tS < 300; tS += 5) {
    state = machine.step(state, { atMs: 1000 * tS, volts: voltsOf(tS), askedV: askedOf(tS) })
    if (machine.says(state) !== null) return 1000 * tS
  }
  return null
}

describe('the reading of the supply against its set-point', () => {
  it('trips when it is off by the tolerance itself, either way, for 20 s', () => {
    fc.assert(fc.property(fc.double({ min: 10, max: 100, noNaN: true }), fc.constantFrom(-1, 1), (off, side) => {
      expect(toldAtMs(10, () => 200 + side * off, () => 200)).toBe(25_000)
    }))
  })
  it('does not trip within the tolerance, nor while the set-point moves', () => {
    expect(toldAtMs(10, () => 209.9, () => 200)).toBeNull()
    expect(toldAtMs(10, tS => 100 + tS - 15, tS => 100 + tS)).toBeNull()
  })
  it('trips when it gives no number for as long', () => {
    expect(toldAtMs(10, tS => tS < 50 ? 200 : NaN, () => 200)).toBe(70_000)
    expect(toldAtMs(10, tS => tS === 50 ? NaN : 200, () => 200)).toBeNull()
  })
  it('does not trip when it sags at its current limit for less', () => {
    expect(toldAtMs(10, tS => tS >= 50 && tS < 65 ? 120 : 200, () => 200)).toBeNull()
  })
})
