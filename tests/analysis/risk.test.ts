import { describe, expect, test } from 'vitest'
import { globalRisks } from '../../src/analysis/risk.ts'
import { SeededRandom } from '../../src/base/random.ts'

describe('globalRisks', () => {
  test('agrees with a count over drawn parts', () => {
    const [random, limits] = [new SeededRandom('lot'), { lower: -1, upper: 1.5 }]
    const draws = 200_000
    let consumer = 0, producer = 0
    for (let i = 0; i < draws; i++) {
      const truth = 0.2 + 0.8 * random.normal()
      const read = truth + 0.2 * random.normal()
      const isGood = truth >= limits.lower && truth <= limits.upper
      const isAccepted = read >= limits.lower + 0.1 && read <= limits.upper - 0.1
      if (!isGood && isAccepted) consumer++
      if (isGood && !isAccepted) producer++
    }
    const found = globalRisks({ mean: 0.2, sd: 0.8 }, 0.2, limits, 0.1)
    expect(Math.abs(found.consumer - consumer / draws)).toBeLessThan(4 * Math.sqrt(found.consumer / draws))
    expect(Math.abs(found.producer - producer / draws)).toBeLessThan(4 * Math.sqrt(found.producer / draws))
  })

  test('one limit is half of two far apart ones, and a guard band trades one risk for the other', () => {
    const process = { mean: 0, sd: 1 }
    const both = globalRisks(process, 0.2, { lower: -2, upper: 2 })
    const one = globalRisks(process, 0.2, { upper: 2 })
    expect(both.consumer / one.consumer).toBeCloseTo(2, 6)
    const guarded = globalRisks(process, 0.2, { upper: 2 }, 0.3)
    expect(guarded.consumer).toBeLessThan(one.consumer)
    expect(guarded.producer).toBeGreaterThan(one.producer)
  })

  test('no spread, no u and no interval left are refused', () => {
    expect(() => globalRisks({ mean: 0, sd: 0 }, 1, { upper: 1 })).toThrow(/above 0/)
    expect(() => globalRisks({ mean: 0, sd: 1 }, 0, { upper: 1 })).toThrow(/above 0/)
    expect(() => globalRisks({ mean: 0, sd: 1 }, 1, { lower: 0, upper: 1 }, 0.5)).toThrow(/interval/)
  })
})
