import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { windingOhmAt } from '../../../src/analysis/devices/winding.ts'
import {
  classBHeat, heatOfSteps, heatSinkMostKPerW, junctionC, largestSineW, worstShare,
} from '../../../src/analysis/thermal/dissipation.ts'
import { loopBehaviour, loopReachesS, loopRiseK } from '../../../src/analysis/thermal/electro-thermal.ts'
import { windingAtSwitchOff } from '../../../src/analysis/thermal/winding-rise.ts'
import { SeededRandom } from '../../../src/base/random.ts'

const stages = fc.record({ railV: fc.double({ min: 10, max: 100, noNaN: true }), loadOhm: fc.double({ min: 2, max: 100, noNaN: true }) })

/** Heat of an ideal push-pull stage by adding up what its devices drop, instant by instant. */
function heatByInstants({ railV, loadOhm }: { railV: number; loadOhm: number }, volts: Iterable<number>): number {
  let [sum, n] = [0, 0]
  for (const v of volts) { sum += (railV - Math.abs(v)) * Math.abs(v) / loadOhm; n++ }
  return sum / n
}

describe('heat of a class B stage', () => {
  it('is what its devices drop, instant by instant, for a sine and for noise', () => {
    const random = new SeededRandom('class b')
    fc.assert(fc.property(stages, fc.double({ min: 0.001, max: 1, noNaN: true }), (stage, share) => {
      const outputW = share * largestSineW(stage)
      const peak = Math.sqrt(2 * outputW * stage.loadOhm)
      const sine = Array.from({ length: 4096 }, (_, i) => peak * Math.sin(2 * Math.PI * (i + 0.5) / 4096))
      expect(classBHeat(stage, outputW).heatW / heatByInstants(stage, sine)).toBeCloseTo(1, 5)
    }))
    const stage = { railV: 40, loadOhm: 8 }
    const rms = Math.sqrt(12 * 8)
    const noise = Array.from({ length: 200_000 }, () => rms * random.normal())
    expect(classBHeat(stage, 12, 'noise').heatW / heatByInstants(stage, noise)).toBeCloseTo(1, 2)
  })
  it('is worst at 4/π² of the largest sine', () => {
    fc.assert(fc.property(stages, fc.double({ min: 0, max: 1, noNaN: true }), (stage, share) => {
      const most = largestSineW(stage)
      expect(classBHeat(stage, share * most).heatW).toBeLessThanOrEqual(worstShare * most * (1 + 1e-9))
      expect(classBHeat(stage, worstShare * most).heatW / most).toBeCloseTo(worstShare, 9)
    }))
  })
  it('has no heat for a sine that the rails do not let through', () => {
    expect(() => classBHeat({ railV: 20, loadOhm: 8 }, 26)).toThrow(/rails let through/)
    expect(() => classBHeat({ railV: 20, loadOhm: 0 }, 1)).toThrow(/above 0/)
  })
  it('is averaged over a programme by the time of its steps', () => {
    const stage = { railV: 40, loadOhm: 8, idleW: 5 }
    const { meanW, mostW } = heatOfSteps(stage, [{ outputW: 0, wave: 'sine', forS: 300 }, { outputW: 40, wave: 'sine', forS: 100 }])
    expect(meanW).toBeCloseTo((300 * 5 + 100 * classBHeat(stage, 40).heatW) / 400, 9)
    expect(mostW).toBeCloseTo(classBHeat(stage, 40).heatW, 9)
    expect(() => heatOfSteps(stage, [])).toThrow(/lasts/)
  })
})

describe('junctions', () => {
  it('are as hot as the heat through everything between makes them, and as unsure', () => {
    const random = new SeededRandom('junction')
    const draw = ({ value, u }: { value: number; u: number }): number => value + u * random.normal()
    const [from, heat, inner, pad] = [{ value: 60, u: 1 }, { value: 20, u: 0.5 }, { value: 1.5, u: 0.15 }, { value: 0.5, u: 0.1 }]
    const got = junctionC(from, heat, [inner, pad])
    const drawn = Array.from({ length: 40_000 }, () => draw(from) + draw(heat) * (draw(inner) + draw(pad)))
    const mean = drawn.reduce((a, b) => a + b, 0) / drawn.length
    const sd = Math.sqrt(drawn.reduce((a, b) => a + (b - mean) ** 2, 0) / drawn.length)
    expect(got.value).toBeCloseTo(100, 9)
    expect(Math.abs(mean - got.value)).toBeLessThan(0.1)
    expect(got.u / sd).toBeCloseTo(1, 1)
    expect(junctionC({ value: 25, u: 0 }, { value: 7.8, u: 0 }, [{ value: 6 + heatSinkMostKPerW(150, 25, 7.8, 6), u: 0 }]).value).toBeCloseTo(150, 9)
  })
})

describe('an electro-thermal loop', () => {
  const loops = fc.record({
    kPerW: fc.double({ min: 0.2, max: 5, noNaN: true }), coldW: fc.double({ min: 1, max: 50, noNaN: true }),
    wPerK: fc.double({ min: 0, max: 1.5, noNaN: true }), tauS: fc.double({ min: 100, max: 3000, noNaN: true }),
  })
  it('goes as its equation does when it is integrated step by step', () => {
    fc.assert(fc.property(loops, loop => {
      let rise = 0
      const step = loop.tauS / 4000
      const slope = (r: number): number => (loop.kPerW * (loop.coldW + loop.wPerK * r) - r) / loop.tauS
      for (let i = 0; i < 4000; i++) { const k = slope(rise); rise += step * slope(rise + step / 2 * k) }
      expect(loopRiseK(loop, loop.tauS) / rise).toBeCloseTo(1, 4)
      expect(loopReachesS(loop, rise)! / loop.tauS).toBeCloseTo(1, 3)
    }))
  })
  it('settles below a gain of 1 and has no end from there on', () => {
    fc.assert(fc.property(loops, loop => {
      const { gain, isStable, endK } = loopBehaviour(loop)
      expect(isStable).toBe(gain < 1)
      if (endK === null) return
      expect(loopReachesS(loop, endK * 1.001)).toBeNull()
      expect(loopRiseK(loop, 40 * loopBehaviour(loop).tauS) / endK).toBeCloseTo(1, 9)
    }))
    expect(loopRiseK({ kPerW: 2, coldW: 10, wPerK: 0.5, tauS: 100 }, 50)).toBeCloseTo(10, 9)
    expect(loopReachesS({ kPerW: 2, coldW: 10, wPerK: 0.5, tauS: 100 }, 10)).toBeCloseTo(50, 9)
  })
})

describe('a winding after its power went', () => {
  const cold = { ohm: { value: 4.2, u: 0.002 }, celsius: { value: 22, u: 0.2 } }
  const airC = { value: 25, u: 0.2 }
  function cooling(hotC: number, tauS: number, n: number, firstS: number, stepS: number, noise: () => number, u: number) {
    const tS = Array.from({ length: n }, (_, i) => firstS + stepS * i)
    return { tS, y: tS.map(t => windingOhmAt(4.2, 22, 25 + (hotC - 25) * Math.exp(-t / tauS)) + noise()), u: tS.map(() => u) }
  }
  it('is carried back to what it was, whose interval holds the truth in about 95 of 100', () => {
    const random = new SeededRandom('winding')
    let inside = 0
    for (let run = 0; run < 400; run++) {
      const hotC = random.uniform(60, 120)
      const error = { ohm: 0.002 * random.normal(), celsius: 0.2 * random.normal(), air: 0.2 * random.normal() }
      const got = windingAtSwitchOff(cooling(hotC, random.uniform(150, 600), 60, 20, 10, () => 0.002 * random.normal(), 0.002),
        { ohm: { value: 4.2 + error.ohm, u: 0.002 }, celsius: { value: 22 + error.celsius, u: 0.2 } }, { value: 25 + error.air, u: 0.2 })
      if (!got.ok) throw new Error(got.reason)
      expect(got.by).toBe('exponential')
      inside += Math.abs(got.riseK.value - (hotC - 25)) <= 1.96 * got.riseK.u ? 1 : 0
    }
    console.log(`winding rise: inside in ${inside} of 400`)
    expect(inside).toBeGreaterThanOrEqual(366)
    expect(inside).toBeLessThanOrEqual(394)
  })
  it('is carried back by a curve, or a line, where the readings are few', () => {
    const few = windingAtSwitchOff(cooling(90, 900, 8, 20, 15, () => 0, 0.002), cold, airC)
    const fewer = windingAtSwitchOff(cooling(90, 900, 4, 10, 15, () => 0, 0.002), cold, airC)
    if (!few.ok || !fewer.ok) throw new Error('refused')
    expect([few.by, fewer.by]).toEqual(['curve', 'line'])
    expect(Math.abs(few.celsius.value - 90)).toBeLessThan(0.5)
    expect(Math.abs(fewer.celsius.value - 90)).toBeLessThan(1)
    // the last reading alone would have been cooler by kelvins
    expect(few.ohm.value).toBeGreaterThan(windingOhmAt(4.2, 22, 89))
  })
  it('is refused where there is too little, or too late, or nothing cools', () => {
    const flat = () => 0
    expect(windingAtSwitchOff(cooling(90, 300, 3, 10, 10, flat, 0.002), cold, airC)).toEqual({ ok: false, reason: 'too few readings' })
    expect(windingAtSwitchOff(cooling(90, 300, 10, 100, 10, flat, 0.002), cold, airC)).toEqual({ ok: false, reason: 'first reading too late' })
    expect(windingAtSwitchOff(cooling(-20, 300, 60, 10, 10, flat, 0.002), cold, airC)).toEqual({ ok: false, reason: 'not cooling' })
    expect(windingAtSwitchOff(cooling(90, 300, 60, 10, 10, () => NaN, 0.002), cold, airC)).toEqual({ ok: false, reason: 'not a number' })
  })
})
