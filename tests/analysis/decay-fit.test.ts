import { describe, expect, test } from 'vitest'
import {
  type CurrentSeries, type DecayFit, type DecayOptions, fitDecay, fitDecayInWindow,
} from '../../src/analysis/decay-fit.ts'
import { SeededRandom } from '../../src/base/random.ts'

/** Irregular times from 30 s to about two hours, closer together at first. */
function times(random: SeededRandom, n = 60): number[] {
  return Array.from({ length: n }, (_, i) => 30 * (240 ** (i / (n - 1))) * (1 + 0.01 * random.next()))
}

function series(random: SeededRandom, law: (t: number) => number, n = 60): CurrentSeries {
  const tS = times(random, n)
  const uA = tS.map(t => 2e-8 + 0.005 * law(t))
  return { tS, iA: tS.map((t, i) => law(t) + uA[i]! * random.normal()), uA }
}

const truth = { amplitude: 4e-5, exponent: 0.8, floor: 3e-6, reference: 600 }
const law = (t: number): number => truth.amplitude * (t / truth.reference) ** -truth.exponent + truth.floor

function must(s: CurrentSeries, options: DecayOptions = {}): DecayFit {
  const fit = fitDecay(s, { referenceS: truth.reference, ...options })
  if (!fit.ok) throw new Error(fit.reason)
  return fit
}

describe('fitDecay', () => {
  test('95 % intervals of all parameters and of a prediction hold the truth 92 to 98.5 % of the time', () => {
    const random = new SeededRandom('decay')
    const runs = 300
    const inside = { amplitude: 0, exponent: 0, floor: 0, ahead: 0 }
    for (let run = 0; run < runs; run++) {
      const fit = must(series(random, law))
      const holds = (e: { value: number; u: number }, t: number): number =>
        (Math.abs(e.value - t) <= 1.96 * e.u ? 1 : 0)
      inside.amplitude += holds(fit.amplitudeA, truth.amplitude)
      inside.exponent += holds(fit.exponent, truth.exponent)
      inside.floor += holds(fit.floorA!, truth.floor)
      inside.ahead += holds(fit.predict(20_000), law(20_000))
    }
    console.log('intervals that hold the truth:', JSON.stringify(inside), `of ${runs}`)
    for (const count of Object.values(inside)) {
      expect(count / runs).toBeGreaterThan(0.92)
      expect(count / runs).toBeLessThan(0.99)
    }
  })

  test('bad readings are found and move nothing', () => {
    const random = new SeededRandom('outliers')
    const clean = series(random, law)
    const iA = Array.from(clean.iA)
    for (const i of [7, 21, 40]) iA[i] = iA[i]! * 4
    const [before, after] = [must(clean), must({ ...clean, iA })]
    expect(after.outliers).toEqual(expect.arrayContaining([7, 21, 40]))
    expect(Math.abs(after.exponent.value - before.exponent.value)).toBeLessThan(before.exponent.u)
    expect(Math.abs(after.floorA!.value - before.floorA!.value)).toBeLessThan(before.floorA!.u)
  })

  test('understated u shows as scatter and widens the uncertainties', () => {
    const s = series(new SeededRandom('scatter'), law)
    const [honest, boast] = [must(s), must({ ...s, uA: Array.from(s.uA, u => u / 5) })]
    expect(boast.scatter).toBeGreaterThan(4)
    expect(boast.scatter).toBeLessThan(6.5)
    expect(boast.exponent.u / honest.exponent.u).toBeGreaterThan(0.7)
  })

  test('a charging term is told from the power law', () => {
    const tau = 40
    const s = series(new SeededRandom('charging'), t => law(t) + 2e-3 * Math.exp(-t / tau))
    const fit = must(s, { chargingTauS: tau })
    expect(Math.abs(fit.exponent.value - truth.exponent)).toBeLessThan(4 * fit.exponent.u)
    expect(Math.abs(fit.chargingA!.value - 2e-3)).toBeLessThan(4 * fit.chargingA!.u)
    const blind = must(s)
    expect(Math.abs(blind.exponent.value - truth.exponent)).toBeGreaterThan(10 * blind.exponent.u)
  })

  test('the time to reach a limit is where the law meets it, never under its floor', () => {
    const fit = must(series(new SeededRandom('reach'), law))
    const reach = fit.timeToReach(6e-6)!
    expect(law(reach.value) / 6e-6).toBeCloseTo(1, 1)
    expect(fit.predict(reach.value).value).toBeCloseTo(6e-6, 12)
    expect(reach.u).toBeGreaterThan(0)
    expect(fit.timeToReach(2e-6)).toBeUndefined()
  })

  test('without a floor two parameters are fitted and said', () => {
    const fit = must(series(new SeededRandom('bare'), t => law(t) - truth.floor), { floor: false })
    expect(fit.floorA).toBeUndefined()
    expect(fit.covariance).toHaveLength(2)
    expect(Math.abs(fit.exponent.value - truth.exponent)).toBeLessThan(4 * fit.exponent.u)
  })

  test('what the data cannot carry is refused with the reason', () => {
    const random = new SeededRandom('refused')
    const good = series(random, law)
    const part = (n: number): CurrentSeries =>
      ({ tS: Array.from(good.tS).slice(0, n), iA: Array.from(good.iA).slice(0, n),
        uA: Array.from(good.uA).slice(0, n) })
    const reason = (s: CurrentSeries, options: DecayOptions = {}) => {
      const fit = fitDecay(s, options)
      return fit.ok ? `n = ${fit.exponent.value} u ${fit.exponent.u}` : fit.reason
    }
    expect(reason(part(5))).toBe('too few readings')
    expect(reason({ ...good, iA: Array.from(good.iA, (v, i) => (i === 9 ? NaN : v)) })).toBe('not a number')
    expect(reason({ ...good, tS: Array.from(good.tS).reverse() })).toBe('times not rising')
    expect(reason(part(10))).toBe('span too short')
    for (let run = 0; run < 50; run++) {
      expect(['no decay', 'exponent unknown', 'not converged']).toContain(reason(series(random, () => 5e-6)))
      expect(['no decay', 'exponent unknown', 'not converged'])
        .toContain(reason(series(random, t => 1e-6 + 1e-9 * t)))
    }
    expect(() => fitDecay({ ...good, tS: Array.from(good.tS, t => t - 100) })).toThrow(/above 0/)
    expect(() => must(good).predict(0)).toThrow(/above 0/)
  })
})

describe('fitDecayInWindow', () => {
  /** Every minute for four hours, as a soak is read. */
  const soak = (random: SeededRandom, current: (t: number) => number, share = 0.002): CurrentSeries => {
    const tS = Array.from({ length: 240 }, (_, i) => 60 * (i + 1))
    const uA = tS.map(t => 1e-8 + share * current(t))
    return { tS, iA: tS.map((t, i) => current(t) + uA[i]! * random.normal()), uA }
  }
  /** Forming went on before the clock of the soak began: at first the current falls slower than its law. */
  const begun = (t: number): number => truth.amplitude * ((t + 900) / truth.reference) ** -truth.exponent + truth.floor

  test('takes everything where one law holds throughout', () => {
    const { fit, window } = fitDecayInWindow(soak(new SeededRandom('whole'), law))
    if (!fit.ok) throw new Error(fit.reason)
    expect(window).toMatchObject({ fromS: 60, toS: 14_400 })
    expect(window!.misfit).toBeLessThan(0.03)
    expect(Math.abs(fit.exponent.value - truth.exponent)).toBeLessThan(3 * fit.exponent.u)
  })

  test('begins where the law begins, and holds there within five per cent, as the fit over all does not', () => {
    for (const seed of ['a', 'b', 'c', 'd']) {
      const data = soak(new SeededRandom(seed), begun)
      const { fit, window } = fitDecayInWindow(data)
      if (!fit.ok) throw new Error(fit.reason)
      expect(window!.fromS).toBeGreaterThan(120)
      expect(window!.fromS).toBeLessThan(4800)
      for (let t = window!.fromS; t <= window!.toS; t *= 1.1) {
        expect(Math.abs(fit.predict(t).value / begun(t) - 1), `${seed} at ${t} s`).toBeLessThan(0.05)
      }
      const over = fitDecay(data)
      if (over.ok) expect(Math.abs(over.predict(60).value / begun(60) - 1)).toBeGreaterThan(0.2)
    }
  })

  test('does not let one bad reading, first or later, move its beginning', () => {
    const data = soak(new SeededRandom('spike'), law)
    for (const bad of [0, 3, 100]) {
      const iA = Array.from(data.iA, (v, i) => (i === bad ? 3 * v : v))
      expect(fitDecayInWindow({ ...data, iA }).window?.fromS, `reading ${bad}`).toBe(60)
    }
  })

  test('refuses what no window explains, and what fitDecay refuses', () => {
    const random = new SeededRandom('refused')
    const wave = (t: number): number => law(t) * (1 + 0.1 * Math.sin(t / 600))
    expect(fitDecayInWindow(soak(random, wave))).toEqual({
      fit: { ok: false, reason: 'no window fits' }, window: null
    })
    expect(fitDecayInWindow(soak(random, () => 5e-6)).window).toBeNull()
    expect(fitDecayInWindow({ tS: [], iA: [], uA: [] })).toEqual({
      fit: { ok: false, reason: 'too few readings' }, window: null
    })
  })
})
