import { describe, expect, test } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import { createSimBench, type BenchErrors } from '../../mocks/bench/sim-bench.ts'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { fixtureFigures, fixtureTolerances } from '../../mocks/bench/layout.ts'
import { type ErrorModel, Specimen } from '../../mocks/instruments/accuracy.ts'

const limits = { ofReading: 1e-3, ofRange: 1e-4 }

/** Errors of many specimens at half of range 10, as shares of the limit there. */
function shares(model: ErrorModel): number[] {
  return Array.from({ length: 3000 }, (_, i) =>
    (new Specimen(limits, new SeededRandom(`${model} ${i}`), model).of(5, 10) - 5) / (5 * 1e-3 + 10 * 1e-4))
}
const rms = (values: readonly number[]): number =>
  Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length)
const most = (values: readonly number[]): number => Math.max(...values.map(Math.abs))

describe('how the fixed errors of specimens are drawn', () => {
  test('usually well inside the limit', () => {
    expect(most(shares('inside'))).toBeLessThanOrEqual(0.8)
  })

  test('rectangular: anywhere within the limit and not beyond, standard deviation limit/√3', () => {
    expect(most(shares('rectangular'))).toBeLessThanOrEqual(1)
    expect(most(shares('rectangular'))).toBeGreaterThan(0.99)
    expect(rms(shares('rectangular')) * Math.sqrt(3)).toBeCloseTo(1, 1)
  })

  test('normal: the same standard deviation, 8 % beyond the limit', () => {
    const drawn = shares('normal')
    expect(rms(drawn) * Math.sqrt(3)).toBeCloseTo(1, 1)
    expect(drawn.filter(share => Math.abs(share) > 1).length / drawn.length).toBeCloseTo(0.083, 1)
  })
})

describe('the fixture of a bench', () => {
  const senseOhm = (seed: number, errors?: BenchErrors): number => {
    const scenario = scenarioHealthyRack(1, 7, { staleFraction: 0 })
    const sim = createSimBench({ seed, scenario, clock: new VirtualClock(), ...(errors ? { errors } : {}) })
    const wiring = sim.now()
    wiring.setSupply({ voltageV: 50.6, currentLimitA: 0.1, on: true })
    wiring.cutoff(true)
    wiring.position(0, 'bus')
    wiring.advanceTo(1)
    return wiring.senseV(0) / wiring.part(0)!.currentA(1)
  }

  test('has resistors as marked, unless errors are asked for: then others on each bench, in tolerance', () => {
    expect(senseOhm(1)).toBeCloseTo(fixtureFigures.senseOhm, 6)
    const drawn = [1, 2, 3, 4].map(seed =>
      senseOhm(seed, { model: 'rectangular' }) / fixtureFigures.senseOhm - 1)
    expect(new Set(drawn).size).toBe(4)
    expect(most(drawn)).toBeLessThanOrEqual(fixtureTolerances.sense)
    expect(most(drawn)).toBeGreaterThan(0)
  })
})
