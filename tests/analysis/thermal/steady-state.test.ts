import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import {
  remainingK, riseAtS, slopeFallsToS, steadyCriteria, usualCriterion, type SteadyName, type WarmUp,
} from '../../../src/analysis/thermal/steady-state.ts'
import { SeededRandom } from '../../../src/base/random.ts'

const names = Object.keys(steadyCriteria) as SteadyName[]
const warmUps = fc.record({ changeK: fc.double({ min: 10, max: 80, noNaN: true }), tauS: fc.double({ min: 300, max: 4000, noNaN: true }) })

interface Series { tS: number[]; y: number[]; u: number[] }
/** Readings of a warm-up from 25 °C until `untilS`, one each `stepS`. */
function readings({ changeK, tauS }: WarmUp, untilS: number, stepS: number, noise: () => number = () => 0, u = 1e-4): Series {
  const n = Math.floor(untilS / stepS)
  const tS = Array.from({ length: n + 1 }, (_, i) => untilS - stepS * (n - i))
  return { tS, y: tS.map(t => 25 - changeK * Math.expm1(-t / tauS) + noise()), u: tS.map(() => u) }
}

describe.each(names)('the criterion %s', name => {
  const criterion = steadyCriteria[name]
  it('calls a warm-up steady when it says it will, and not before', () => {
    fc.assert(fc.property(warmUps, warmUp => {
      const whenS = criterion.expectedS(warmUp)
      fc.pre(whenS > 600)
      expect(criterion.judge(readings(warmUp, whenS + 40, 10)).verdict).toBe('steady')
      const before = criterion.judge(readings(warmUp, whenS - 40, 10)).verdict
      expect(before).not.toBe('steady')
      // before its whole span has been seen nothing can be told
      if (whenS - 60 > spanS(name)) expect(before).toBe('not yet')
    }), { numRuns: 60 })
  })
  it('does not call noise a change, nor a record with a hole, too short or unreadable steady', () => {
    const random = new SeededRandom(name)
    const slow = { changeK: 10, tauS: 300 }
    const quiet = readings(slow, 4 * 3600, 30, () => 0.1 * random.normal(), 0.1)
    expect(criterion.judge(quiet).verdict).toBe('steady')
    const holed = { ...quiet, tS: quiet.tS.map(t => t > 4 * 3600 - 2 * spanS(name) / 3 ? t + 2000 : t) }
    expect(criterion.judge(holed).verdict).toBe('cannot tell')
    expect(criterion.judge(readings(slow, 200, 10)).verdict).toBe('cannot tell')
    expect(criterion.judge({ ...quiet, y: quiet.y.map((y, i) => i === quiet.y.length - 3 ? NaN : y) }).verdict).toBe('cannot tell')
  })
  it('holds a fall to the same bound as a rise', () => {
    const rising = readings({ changeK: 60, tauS: 1500 }, 5400, 10)
    const falling = { ...rising, y: rising.y.map(y => 120 - y) }
    expect(criterion.judge(falling).changeK).toBeCloseTo(criterion.judge(rising).changeK, 9)
    expect(criterion.judge(rising).changeK).toBeGreaterThan(0)
  })
  it('says where it was read of', () => { expect(criterion.source).toContain('second hand') })
})

const spanS = (name: SteadyName): number => ({
  'three-in-thirty': 1800, 'two-an-hour-twice': 3600, 'two-in-an-hour': 3600, 'one-in-fifteen': 900, 'three-within-one': 600,
})[name]

describe('criteria beside one another', () => {
  it('judge by the short span only where a place is a tenth below its limit', () => {
    const warmUp = { changeK: 55, tauS: 1500 }
    const criterion = steadyCriteria['three-in-thirty']
    const now = readings(warmUp, 4200, 10)
    expect(criterion.judge(now).verdict).toBe('not yet')
    expect(criterion.judge(now, 100).verdict).toBe('steady')
    expect(criterion.judge(now, 80).verdict).toBe('not yet')
  })
  it('leave less to come by the usual one than by any that is met earlier', () => {
    fc.assert(fc.property(warmUps, warmUp => {
      const usual = steadyCriteria[usualCriterion].expectedS(warmUp)
      for (const name of names) {
        const s = steadyCriteria[name].expectedS(warmUp)
        if (s < usual) expect(remainingK(warmUp, s)).toBeGreaterThan(remainingK(warmUp, usual))
      }
    }))
  })
  it('are wrong about as often as they say: a change at the bound is called steady in at most 8 of 100', () => {
    const random = new SeededRandom('bound')
    let steady = 0
    for (let run = 0; run < 1000; run++) {
      const tS = Array.from({ length: 241 }, (_, i) => 15 * i)
      const y = tS.map(t => 50 + t / 900 + 0.1 * random.normal())
      if (steadyCriteria['one-in-fifteen'].judge({ tS, y, u: tS.map(() => 0.1) }).verdict === 'steady') steady++
    }
    console.log(`at the bound, called steady: ${steady} of 1000`)
    expect(steady).toBeLessThan(80)
  })
})

describe('a known warm-up', () => {
  it('passes a rise when it says, or never', () => {
    fc.assert(fc.property(warmUps, fc.double({ min: 0.01, max: 1.5, noNaN: true }), (warmUp, share) => {
      fc.pre(Math.abs(share - 1) > 1e-6)
      const at = riseAtS(warmUp, share * warmUp.changeK)
      if (share >= 1) expect(at).toBeNull()
      else expect(-warmUp.changeK * Math.expm1(-at! / warmUp.tauS)).toBeCloseTo(share * warmUp.changeK, 6)
    }))
  })
  it('has its slope when it says', () => {
    fc.assert(fc.property(warmUps, warmUp => {
      const at = slopeFallsToS(warmUp, 2)
      expect(remainingK(warmUp, at) / warmUp.tauS * 3600).toBeCloseTo(2, 6)
    }))
  })
})
