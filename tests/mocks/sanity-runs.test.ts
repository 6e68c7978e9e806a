/**
 * Runs of the forming model that were worked out beforehand by an independent integration (backward Euler,
 * 0.5 s steps). Shape checks of our own, not published values: 100 uF / 450 V fed from 450 V through 100
 * kohm.
 */
import { describe, expect, it } from 'vitest'
import { ElectrolyticPart } from '../../mocks/parts/part.ts'
import { plainTruth } from '../../mocks/parts/truth.ts'
import type { PartTruth } from '../../mocks/parts/truth.ts'

interface Expected { atS: number; voltsV: number; currentA: number }
interface Run { name: string; truth: Partial<PartTruth>; points: Expected[]; chargeC?: number }

const hour = 3600
const runs: Run[] = [
  { name: 'healthy', truth: {}, points: [
    { atS: 300, voltsV: 449.1, currentA: 9.4e-6 }, { atS: hour, voltsV: 449.1, currentA: 9.4e-6 }] },
  { name: 'stale', truth: { weakFraction: 1e-3, formingV: 200 }, chargeC: 7.9, points: [
    { atS: 60, voltsV: 211, currentA: 2.39e-3 }, { atS: hour, voltsV: 379, currentA: 0.71e-3 },
    { atS: 4 * hour, voltsV: 441, currentA: 86e-6 }, { atS: 6 * hour, voltsV: 445, currentA: 50e-6 }] },
  { name: 'stale, twice the weak area', truth: { weakFraction: 2e-3, formingV: 150, growthEfficiency: 0.7 },
    chargeC: 19.3, points: [
      { atS: hour, voltsV: 280, currentA: 1.7e-3 }, { atS: 4 * hour, voltsV: 411, currentA: 0.39e-3 },
      { atS: 6 * hour, voltsV: 431, currentA: 0.19e-3 }] },
  { name: 'very stale', truth: { weakFraction: 0.02, formingV: 80, growthEfficiency: 0.5 }, points: [
    { atS: 6 * hour, voltsV: 153, currentA: 2.97e-3 }] },
  { name: 'hopeless', truth: { weakFraction: 0.02, formingV: 80, growthEfficiency: 0.03 }, chargeC: 80,
    points: [{ atS: 60, voltsV: 76, currentA: 3.74e-3 }, { atS: 6 * hour, voltsV: 80, currentA: 3.7e-3 }] },
  { name: 'shunted by 20 kohm', truth: { shuntOhm: 20e3 }, points: [
    { atS: hour, voltsV: 75.0, currentA: 3.75e-3 }] },
]

describe('the model against the runs worked out beforehand', () => {
  for (const run of runs) {
    it(`${run.name}: volts within 1 V and current within 3 per cent`, () => {
      const rated = { voltageV: 450, capacitanceF: 100e-6 }
      const part = new ElectrolyticPart(run.name, rated, plainTruth(rated, run.truth), 1)
      part.connect(0, 100e3, 0, Infinity)
      part.drive(0, 450)
      for (const { atS, voltsV, currentA } of run.points) {
        part.ensure(atS)
        expect(Math.abs(part.terminalV(atS) - voltsV)).toBeLessThan(1)
        expect(Math.abs(part.currentA(atS) / currentA - 1)).toBeLessThan(0.03)
      }
      if (run.chargeC !== undefined) {
        const leakedC = part.ledger(6 * hour).leakedC
        expect(Math.abs(leakedC / run.chargeC - 1)).toBeLessThan(0.03)
      }
    })
  }

  it('behind 70 kohm a 20 uF part at 350 V reaches 0.35 mA in an hour and 54 uA in three', () => {
    const rated = { voltageV: 450, capacitanceF: 20e-6 }
    const truth = plainTruth(rated, { weakFraction: 4e-3, formingV: 150 })
    const part = new ElectrolyticPart('old', rated, truth, 1)
    part.connect(0, 70e3, 0, Infinity)
    part.drive(0, 350)
    part.ensure(hour)
    expect(part.currentA(hour)).toBeCloseTo(0.35e-3, 5)
    part.ensure(3 * hour)
    expect(part.currentA(3 * hour)).toBeCloseTo(54e-6, 6)
  })
})
