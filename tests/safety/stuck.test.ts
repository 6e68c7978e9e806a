import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { followMachine, senseMachine } from '../../src/safety/stuck.ts'
import type { FollowInput, SenseInput } from '../../src/safety/stuck.ts'
import type { Machine } from '../../src/safety/watch.ts'

function told<S, I>(machine: Machine<S, I>, inputs: readonly I[]): string | null {
  let state = machine.fresh
  for (const input of inputs) {
    state = machine.step(state, input)
    const says = machine.says(state)
    if (says !== null) return says
  }
  return null
}

/** A move of the set-point by `byV` at `slew`, read every 100 ms, with rest before and after. */
function move(fromV: number, byV: number, slew: number, voltsOf: (askedV: number, i: number) => number): FollowInput[] {
  const rampReadings = Math.ceil(10 * Math.abs(byV) / slew)
  return Array.from({ length: rampReadings + 100 }, (_, i) => {
    const steps = Math.max(0, Math.floor((i - 50) / 10))
    const askedV = fromV + Math.sign(byV) * Math.min(Math.abs(byV), slew * steps)
    return { atMs: 100 * i, volts: voltsOf(askedV, i), askedV }
  })
}

describe('a bus meter that does not follow', () => {
  const moves = { fromV: fc.integer({ min: 0, max: 400 }), byV: fc.integer({ min: 10, max: 100 }), slew: fc.double({ min: 0.05, max: 20, noNaN: true }) }
  it('is found in any rise of 10 V or more that a value short of it sits out', () => {
    fc.assert(fc.property(fc.record(moves), ({ fromV, byV, slew }) => {
      expect(told(followMachine, move(fromV, byV, slew, () => fromV))).toContain('while the set-point moved')
    }), { numRuns: 40 })
  })
  it('is found in a fall too, when it repeats to the bit', () => {
    expect(told(followMachine, move(300, -50, 5, () => 300.02))).not.toBeNull()
  })
  it('is not found in one that follows, however coarse its digits', () => {
    fc.assert(fc.property(fc.record(moves), fc.constantFrom(1e-3, 0.1), fc.integer(), ({ fromV, byV, slew }, digit, seed) => {
      const random = new SeededRandom(seed)
      const read = (askedV: number): number => Math.round((askedV + 0.05 * random.normal()) / digit) * digit
      expect(told(followMachine, move(fromV, byV, slew, read))).toBeNull()
      expect(told(followMachine, move(fromV + 100, -byV, slew, read))).toBeNull()
    }), { numRuns: 40 })
  })
  it('is not found where the bus falls slowly by itself after the set-point fell at once', () => {
    const falling = Array.from({ length: 3000 }, (_, i) => ({ atMs: 100 * i, volts: 450 * Math.exp(-i / 3000), askedV: i < 5 ? 450 : 0 }))
    expect(told(followMachine, falling)).toBeNull()
  })
  it('is not found where the bus is to stay, though the meter reads exactly zero for ever', () => {
    expect(told(followMachine, Array.from({ length: 500 }, (_, i) => ({ atMs: 100 * i, volts: 0, askedV: 0 })))).toBeNull()
  })
  it('is not found in a polarity stop of 5 V, which is too small a move to tell', () => {
    expect(told(followMachine, move(0, 5, 1, () => 0))).toBeNull()
  })
})

const part = { farad: 37.6e-6, ohm: 101e3 }
/**
 * Bus at rest, then rising by `byV` at `slew` volts a second; two positions read in turn once a second. `read` is what
 * the meter makes of the true current.
 */
function rise(byV: number, slew: number, read: (amps: number, position: number) => number, uA = 5e-9): SenseInput[] {
  const inputs: SenseInput[] = []
  const amps = [1e-6, 2e-6]
  for (let i = 0; i < 10 * (20 + byV / slew + 20); i++) {
    const tS = i / 10
    const busV = 50 + Math.min(byV, Math.max(0, slew * (tS - 20)))
    inputs.push({ atMs: 1000 * tS, busV: busV + 0.01 * Math.sin(i) })
    if (i % 5 !== 0) continue
    const k = (i / 5) % 2
    const moving = tS > 20 && busV < 50 + byV
    const chargingA = moving ? part.farad * slew * -Math.expm1(-(tS - 20) / (part.farad * part.ohm)) : 0
    inputs.push({ atMs: 1000 * tS, position: k, amps: read(amps[k]! + chargingA, k), uA, ...part })
  }
  return inputs
}

/** As a rack of one gives it. */
const alone = (inputs: readonly SenseInput[]): SenseInput[] =>
  inputs.filter(input => !('position' in input) || input.position === 0)

describe('a sense meter that repeats to the bit while the bus moves', () => {
  it('is found in any rise of 10 V or more at 0.1 V/s or faster, and in one of 3 V at 0.5 V/s', () => {
    expect(told(senseMachine, alone(rise(3, 0.5, () => 1.9244e-5)))).toContain('the sense meter is stuck')
    fc.assert(fc.property(fc.double({ min: 10.5, max: 60, noNaN: true }), fc.double({ min: 0.1, max: 5, noNaN: true }),
      fc.double({ min: -1e-3, max: 1e-3, noNaN: true }).filter(amps => Math.abs(amps) > 1e-8), (byV, slew, amps) => {
        expect(told(senseMachine, rise(byV, slew, () => amps))).toContain('the sense meter is stuck')
      }), { numRuns: 30 })
  })
  it('is not found in a sound one, with noise or without, coarse or fine', () => {
    fc.assert(fc.property(fc.double({ min: 1, max: 60, noNaN: true }), fc.double({ min: 0.1, max: 5, noNaN: true }),
      fc.constantFrom(1e-9, 1e-7), fc.constantFrom(0, 1.2), fc.integer(), (byV, slew, digit, noise, seed) => {
        const random = new SeededRandom(seed)
        const read = (amps: number): number => Math.round(amps / digit + noise * random.normal()) * digit
        expect(told(senseMachine, rise(byV, slew, read, digit))).toBeNull()
      }), { numRuns: 30 })
  })
  it('is not found where what it reads cannot be told from zero: a quiet channel and an open part do', () => {
    expect(told(senseMachine, rise(50, 1, () => 0))).toBeNull()
    for (const amps of [1.2e-9, -1e-8]) expect(told(senseMachine, alone(rise(50, 1, () => amps)))).toBeNull()
    expect(told(senseMachine, alone(rise(50, 1, () => 1.1e-8)))).toContain('stuck')
  })
  it('is found where it stuck at rest, near zero, and several positions give it', () => {
    for (const amps of [1.2e-9, -1e-8]) expect(told(senseMachine, rise(50, 1, () => amps))).toContain('stuck')
  })
  it('is not found where the charging would not show on so coarse a meter', () => {
    expect(told(senseMachine, rise(50, 0.1, () => 1e-6, 1e-6))).toBeNull()
  })
  it('is not found where one position repeats and the next one moves', () => {
    const random = new SeededRandom(4)
    expect(told(senseMachine, rise(50, 1, (amps, k) => k === 0 ? 1e-6 : amps + 1e-9 * random.normal()))).toBeNull()
  })
  it('is not found on a bus at rest where little more than its last digits repeats', () => {
    expect(told(senseMachine, rise(0.1, 1, () => 3e-8))).toBeNull()
  })
})

describe('a sense meter that sticks while the bus stands still', () => {
  const part = { farad: 47e-6, ohm: 101e3, uA: 5e-9 }
  const says = (amps: readonly number[], positions: number): string | null => senseMachine.says(amps.reduce(
    (state, value, i) => senseMachine.step(state, { ...part, atMs: 2500 * i, position: i % positions, amps: value }), senseMachine.fresh))

  it('is found when twenty readings of several positions are the same to the bit', () => {
    expect(says(Array<number>(20).fill(3e-6), 3)).toMatch(/more than one position/)
    expect(says(Array<number>(19).fill(3e-6), 3)).toBe(null)
  })

  it('is not found where one position repeats, where the value is exactly zero, or where one reading differs', () => {
    expect(says(Array<number>(200).fill(3e-6), 1)).toBe(null)
    expect(says(Array<number>(200).fill(0), 3)).toBe(null)
    expect(says(Array.from({ length: 200 }, (_, i) => i % 19 === 0 ? 3.1e-6 : 3e-6), 3)).toBe(null)
  })
})
