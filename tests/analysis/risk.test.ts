import { describe, expect, test } from 'vitest'
import { pConform } from '../../src/analysis/conformance.ts'
import { globalRisks, pConformMonteCarlo } from '../../src/analysis/risk.ts'
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

describe('pConformMonteCarlo', () => {
  test('normal components agree with the formula within the stated error', () => {
    const parts = [{ label: 'a', u: 3 }, { label: 'b', u: 2, sensitivity: 2 }]
    const found = pConformMonteCarlo(8, parts, { upper: 10 }, 'normal')
    expect(Math.abs(found.pConform - pConform({ y: 8, u: 5 }, { upper: 10 })))
      .toBeLessThan(4 * found.uPConform)
    expect(found.u / 5).toBeCloseTo(1, 1)
    expect(found.interval95[1] - found.interval95[0]).toBeCloseTo(2 * 1.96 * 5, 0)
  })

  test('a dominant rectangular component proves what a normal one of the same u cannot', () => {
    const part = (distribution: 'rectangular' | 'normal') => [{ label: 'meter', u: 1, distribution }]
    const far = { upper: 1.75 }
    expect(pConformMonteCarlo(0, part('rectangular'), far, 1).pConform).toBe(1)
    expect(pConformMonteCarlo(0, part('normal'), far, 1).pConform).toBeLessThan(0.97)
  })

  const shapes = ['rectangular', 'triangular', 'u-shaped', 'normal'] as const
  test.each(shapes)('%s has its stated u', distribution => {
    expect(pConformMonteCarlo(5, [{ label: 'x', u: 2, distribution }], { upper: 9 }, 7).u / 2)
      .toBeCloseTo(1, 1)
  })

  test('few degrees of freedom have heavy tails when the shape is t', () => {
    const p = (distribution: 't' | 'normal') =>
      pConformMonteCarlo(0, [{ label: 'x', u: 1, dof: 2, distribution }], { upper: 3 }, 3).pConform
    expect(p('normal')).toBeGreaterThan(0.998)
    expect(Math.abs(p('t') - pConform({ y: 0, u: 1, dof: 2 }, { upper: 3 }))).toBeLessThan(0.003)
  })

  test('one seed gives one answer, another seed another', () => {
    const run = (seed: number) =>
      pConformMonteCarlo(0, [{ label: 'x', u: 1 }], { upper: 1 }, seed, 1000).pConform
    expect(run(1)).toBe(run(1))
    expect(run(1)).not.toBe(run(2))
  })

  test('no budget and NaN are refused', () => {
    expect(() => pConformMonteCarlo(0, [], { upper: 1 }, 1)).toThrow(/budget/)
    expect(() => pConformMonteCarlo(NaN, [{ label: 'x', u: 1 }], { upper: 1 }, 1)).toThrow(/value/)
    expect(() => pConformMonteCarlo(0, [{ label: 'gain', u: NaN }], { upper: 1 }, 1)).toThrow(/gain/)
  })
})
