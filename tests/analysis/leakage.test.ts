import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { type CurrentSeries, chargeC, judgeCharge, splitLeakage } from '../../src/analysis/leakage.ts'
import { SeededRandom } from '../../src/base/random.ts'

const path = { capacitanceF: 100e-6, uCapacitanceF: 1e-6, seriesOhm: 100e3, uSeriesOhm: 100 }
const tau = path.capacitanceF * path.seriesOhm

/** Current of a part with a constant leak behind R after a step of 10 V: leak + (V/R)·exp(-t/RC). */
function charging(
  startS: number, n: number, stepS: number, leakA: number, noiseA: number, random: SeededRandom,
): CurrentSeries {
  const tS = Array.from({ length: n }, (_, i) => startS + i * stepS)
  return {
    tS, iA: tS.map(t => leakA + (10 / path.seriesOhm) * Math.exp(-t / tau) + noiseA * random.normal()),
    uA: tS.map(() => noiseA || 1e-12),
  }
}

describe('splitLeakage', () => {
  test('charging current alone is no leakage, and leakage alone is no charging current', () => {
    const quiet = new SeededRandom(1)
    const only = splitLeakage(charging(10, 12, 0.25, 0, 0, quiet), path)
    if (!only.ok) throw new Error(only.reason)
    expect(only.currentA).toBeGreaterThan(2e-5)
    expect(Math.abs(only.leakageA)).toBeLessThan(1e-3 * only.currentA)
    const tS = [0, 1, 2, 3, 4]
    const still = splitLeakage({ tS, iA: tS.map(() => 3e-6), uA: tS.map(() => 1e-9) }, path)
    if (!still.ok) throw new Error(still.reason)
    expect(still.leakageA).toBeCloseTo(3e-6, 12)
    expect(still.chargingA).toBeCloseTo(0, 12)
  })

  test.each([[12, 0.5], [40, 1], [6, 2]])(
    '95 % intervals hold the true leakage 93 to 98 % of the time (%i readings, %f s apart)', (n, stepS) => {
      const random = new SeededRandom(`split ${n}`)
      let inside = 0
      for (let run = 0; run < 2000; run++) {
        const real = { ...path, capacitanceF: path.capacitanceF + path.uCapacitanceF * random.normal() }
        const found = splitLeakage(charging(15, n, stepS, 8e-6, 2e-8, random), real)
        if (found.ok && Math.abs(found.leakageA - 8e-6) <= 1.96 * found.uLeakageA) inside++
      }
      console.log(`n=${n}, ${stepS} s: leakage intervals that hold the truth: ${(inside / 20).toFixed(1)} %`)
      expect(inside / 2000).toBeGreaterThan(0.93)
      expect(inside / 2000).toBeLessThan(0.985)
    })

  test('a rising bus drives C·dV/dt that is not leakage', () => {
    const tS = [0, 1, 2, 3, 4, 5]
    const series = { tS, iA: tS.map(() => 100e-6 * 0.5 + 2e-6), uA: tS.map(() => 1e-9) }
    const told = splitLeakage(series, { ...path, busSlopeVPerS: 0.5, uBusSlopeVPerS: 0.001 })
    if (!told.ok) throw new Error(told.reason)
    expect(told.leakageA).toBeCloseTo(2e-6, 10)
    expect(told.uLeakageA).toBeGreaterThan(5e-7)
    const untold = splitLeakage(series, path)
    if (!untold.ok) throw new Error(untold.reason)
    expect(untold.leakageA).toBeCloseTo(52e-6, 10)
  })

  test('too few readings and NaN come back as reasons; disorder is refused', () => {
    expect(splitLeakage({ tS: [0, 1], iA: [1, 1], uA: [1, 1] }, path))
      .toEqual({ ok: false, reason: 'too few readings' })
    const tS = [0, 1, 2, 3]
    expect(splitLeakage({ tS, iA: [1, NaN, 1, 1], uA: [1, 1, 1, 1] }, path))
      .toEqual({ ok: false, reason: 'not a number' })
    expect(() => splitLeakage({ tS: [0, 2, 1, 3], iA: tS, uA: [1, 1, 1, 1] }, path)).toThrow(/rise/)
    expect(() => splitLeakage({ tS, iA: tS, uA: [1, 1, 1, 1] }, { ...path, capacitanceF: 0 }))
      .toThrow(/capacitance/)
  })
})

describe('chargeC', () => {
  test('a straight current is integrated exactly whatever the times', () => {
    fc.assert(fc.property(
      fc.array(fc.double({ min: 0.01, max: 10, noNaN: true }), { minLength: 2, maxLength: 30 }),
      fc.double({ min: -1, max: 1, noNaN: true }), fc.double({ min: -1, max: 1, noNaN: true }),
        (gaps, a, b) => {
        let t = 0
        const tS = gaps.map(gap => (t += gap))
        const q = chargeC({ tS, iA: tS.map(x => a + b * x), uA: tS.map(() => 0) })
        const [first, last] = [tS[0]!, tS[tS.length - 1]!]
        expect(q.chargeC).toBeCloseTo(a * (last - first) + b * (last ** 2 - first ** 2) / 2, 7)
        expect(q.uTrapezoidC).toBeCloseTo(0, 7)
      }))
  })

  test('an exponential is within its trapezoid error; half the step, a quarter of it', () => {
    const at = (stepS: number) => {
      const tS = Array.from({ length: Math.round(20 / stepS) + 1 }, (_, i) => i * stepS)
      return chargeC({ tS, iA: tS.map(t => Math.exp(-t / 5)), uA: tS.map(() => 0) })
    }
    const exact = 5 * (1 - Math.exp(-4))
    for (const stepS of [2, 1, 0.5]) {
      expect(Math.abs(at(stepS).chargeC - exact)).toBeLessThan(1.2 * at(stepS).uTrapezoidC)
    }
    expect(at(1).uTrapezoidC / at(0.5).uTrapezoidC).toBeGreaterThan(3.5)
  })

  test('noise scatters the charge by what is stated', () => {
    const random = new SeededRandom('charge')
    const tS = [0, 1, 3, 4, 8, 9, 11, 15]
    const uA = tS.map((_, i) => 0.01 * (1 + i % 3))
    const found = Array.from({ length: 4000 }, () =>
      chargeC({ tS, iA: uA.map(u => 1 + u * random.normal()), uA }))
    const scatter = Math.sqrt(found.reduce((s, q) => s + (q.chargeC - 15) ** 2, 0) / found.length)
    expect(scatter / found[0]!.uNoiseC).toBeGreaterThan(0.96)
    expect(scatter / found[0]!.uNoiseC).toBeLessThan(1.04)
    expect(chargeC({ tS, iA: uA, uA }, 0.01).uGainC)
      .toBeCloseTo(0.01 * chargeC({ tS, iA: uA, uA }).chargeC, 12)
  })

  test('one reading, NaN and disorder are refused', () => {
    expect(() => chargeC({ tS: [0], iA: [1], uA: [0] })).toThrow(/at least 2/)
    expect(() => chargeC({ tS: [0, 1], iA: [1, NaN], uA: [0, 0] })).toThrow(/finite/)
    expect(() => chargeC({ tS: [1, 0], iA: [1, 1], uA: [0, 0] })).toThrow(/rise/)
  })
})

describe('judgeCharge', () => {
  const expected = { capacitanceF: 100e-6, toleranceBelow: 0.2, deltaV: 10, uDeltaV: 0.05 }
  const judge = (share: number, uShare: number) =>
    judgeCharge({ chargeC: share * 1e-3, uC: uShare * 1e-3 }, expected)

  test.each([
    [1.0, 0.02, 'ok'], [0.8, 0.02, 'ok'], [1.9, 0.02, 'ok'], [0.6, 0.02, 'cannot-tell'],
    [0.4, 0.02, 'cannot-tell'],
    [0.3, 0.02, 'lost'], [0, 0.02, 'lost'], [-0.1, 0.01, 'lost'], [0.3, 0.3, 'cannot-tell'],
    [1, 0.5, 'cannot-tell'],
    [NaN, 0.1, 'cannot-tell'], [1, NaN, 'cannot-tell'],
  ])('%f of the expected charge, u %f, is %s', (share, uShare, verdict) => {
    expect(judge(share, uShare).verdict).toBe(verdict)
  })

  test('a rise of zero volts is refused', () => {
    expect(() => judgeCharge({ chargeC: 1, uC: 0 }, { ...expected, deltaV: 0 })).toThrow(/rise of voltage/)
  })
})
