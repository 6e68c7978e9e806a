import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { caseStillMachine, supplyStillMachine } from '../../src/safety/still.ts'
import type { CaseInput, CaseRules, SupplyInput } from '../../src/safety/still.ts'
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

const stepA = 1e-4
/** A bus raised to `toV` in `seconds` over its bleeder of 470 kΩ, one reading a second, then an hour at rest. */
const raised = (toV: number, seconds: number, ampsOf: (busA: number, i: number) => number): SupplyInput[] =>
  Array.from({ length: seconds + 3600 }, (_, i) => {
    const busA = toV * Math.min(1, i / seconds) / 470e3
    return { atMs: 1000 * i, amps: ampsOf(busA, i), busA }
  })
const rounded = (amps: number): number => Math.round(amps / stepA) * stepA

describe('a supply whose current does not move', () => {
  it('is found on any bus whose bleeder takes five steps of the supply more', () => {
    fc.assert(fc.property(fc.integer({ min: 240, max: 600 }), fc.integer({ min: 10, max: 2000 }), fc.double({ min: 1e-4, max: 0.1, noNaN: true }),
      (toV, seconds, amps) => {
        expect(told(supplyStillMachine(stepA), raised(toV, seconds, () => amps))).toMatch(/to the bit while the bus alone came to take .* stuck/)
      }), { numRuns: 40 })
  })
  it('is not found where it moves, whatever its offset and however the parts charge, nor at rest for ever', () => {
    fc.assert(fc.property(fc.integer({ min: 16, max: 600 }), fc.double({ min: 0, max: 1e-3, noNaN: true }), fc.integer(), (toV, offsetA, seed) => {
      const random = new SeededRandom(seed)
      const parts = (i: number): number => 2e-3 * Math.exp(-i / 300)
      const reading = (busA: number, i: number): number => rounded(busA + offsetA + parts(i) + 2e-5 * random.normal())
      expect(told(supplyStillMachine(stepA), raised(toV, 600, reading))).toBeNull()
    }), { numRuns: 40 })
  })
  it('is not told on a bus of less, nor of a supply that reads nothing', () => {
    expect(told(supplyStillMachine(stepA), raised(230, 100, () => 1e-3))).toBeNull()
    expect(told(supplyStillMachine(1e-3), raised(450, 100, () => 1e-3))).toBeNull()
    expect(told(supplyStillMachine(stepA), raised(450, 100, () => 0))).toBeNull()
  })
})

const fine: CaseRules = { stepK: 0.01, noiseK: 0.02, shedW: 0.5 }
const coarse: CaseRules = { stepK: 0.1, noiseK: 0.01, shedW: 0.5 }
/** An hour cold, then `watts` for an hour; read every minute. The can warms by `kelvinPerW` with a time constant of 10 min. */
function night(read: (celsius: number) => number, watts: number, kelvinPerW = 60, restMin = 60): CaseInput[] {
  return Array.from({ length: restMin + 60 }, (_, minute): CaseInput[] => {
    const hotMin = Math.max(0, minute - restMin)
    const celsius = 21 + watts * kelvinPerW * -Math.expm1(-hotMin / 10)
    const atMs = 60_000 * minute
    return [{ atMs, watts: hotMin > 0 ? watts : 0 }, { atMs, celsius: read(celsius) }]
  }).flat()
}
const digits = (step: number) => (celsius: number): number => Math.round(celsius / step) * step

describe('a thermometer that does not move', () => {
  it('is found by twenty equal readings where its noise is larger than its last digit', () => {
    expect(told(caseStillMachine(fine), night(() => 21.37, 0))).toBe('repeats 21.37 °C to the bit over 20 readings: its thermometer is stuck')
  })
  it('is not found in sound noise, over months of readings', () => {
    fc.assert(fc.property(fc.integer(), seed => {
      const random = new SeededRandom(seed)
      const readings = Array.from({ length: 20_000 }, (_, i): CaseInput => ({ atMs: 60_000 * i, celsius: digits(0.01)(21 + 0.02 * random.normal()) }))
      expect(told(caseStillMachine({ ...fine, noiseK: 0.01 }), readings)).toBeNull()
    }), { numRuns: 10 })
  })
  it('coarse, in a steady room: stands still by right, and nothing is said', () => {
    expect(told(caseStillMachine(coarse), night(digits(0.1), 0))).toBeNull()
    expect(told(caseStillMachine(coarse), night(() => 21.3, 0))).toBeNull()
  })
  it('coarse: is found where its part turned a quarter of what it may shed to heat, after a rest', () => {
    expect(told(caseStillMachine(coarse), night(() => 21.3, 0.2))).toMatch(/repeats 21.30 °C to the bit while its part turned 125 mW or more to heat for 20 min/)
  })
  it('coarse: is not found on any can that warms by a degree, nor on one that is warm and stays so', () => {
    fc.assert(fc.property(fc.double({ min: 0.125, max: 0.5, noNaN: true }), fc.double({ min: 8, max: 200, noNaN: true }), fc.constantFrom(0.1, 0.5),
      (watts, kelvinPerW, stepK) => {
        expect(told(caseStillMachine({ ...coarse, stepK }), night(digits(stepK), watts, kelvinPerW))).toBeNull()
      }))
    const steady = Array.from({ length: 600 }, (_, i): CaseInput[] => [{ atMs: 60_000 * i, watts: 0.3 }, { atMs: 60_000 * i, celsius: 33.3 }]).flat()
    expect(told(caseStillMachine(coarse), steady)).toBeNull()
    expect(told(caseStillMachine({ ...coarse, stepK: 1 }), night(() => 21, 0.4))).toBeNull()
  })
})
