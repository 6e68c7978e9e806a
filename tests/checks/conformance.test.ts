import { describe, expect, test } from 'vitest'
import { acceptanceInterval, judgeConformance, pConform } from '../../src/analysis/conformance.ts'
import { globalRisks } from '../../src/analysis/risk.ts'

describe('conformance check values', () => {
  test('-5.47 V, u 0.05 V, at most -5.40 V: 0.9192 (JCGM 106 zener example, from memory)', () => {
    expect(Math.abs(pConform({ y: -5.47, u: 0.05 }, { upper: -5.40 }) - 0.9192)).toBeLessThan(5e-5)
  })

  test('1008, u 3, in 990 to 1010: 0.747507 (formula read second-hand, value computed)', () => {
    expect(pConform({ y: 1008, u: 3 }, { lower: 990, upper: 1010 })).toBeCloseTo(0.747507, 6)
  })

  test('a value at the limit conforms with one half (identity)', () => {
    expect(pConform({ y: 1010, u: 0.1 }, { lower: 990, upper: 1010 })).toBeCloseTo(0.5, 9)
  })

  test('5 % at u 3: accept 994.9346 to 1005.0654 (rule read second-hand, quantile computed)', () => {
    const interval = acceptanceInterval(3, { lower: 990, upper: 1010 })!
    expect(Math.abs(interval.lower! - 994.9346)).toBeLessThan(1e-4)
    expect(Math.abs(interval.upper! - 1005.0654)).toBeLessThan(1e-4)
    expect(judgeConformance({ y: 1005.06, u: 3 }, { upper: 1010 }).grade).toBe('accept')
    expect(judgeConformance({ y: 1005.07, u: 3 }, { upper: 1010 }).grade).toBe('marginal')
  })

  test('sd 0.12, u 0.04, limits 0.2: risks 1.89 and 3.72 %; guarded 0.04: 0.43 and 11.5 % (computed)', () => {
    const limits = { lower: -0.2, upper: 0.2 }
    const plain = globalRisks({ mean: 0, sd: 0.12 }, 0.04, limits)
    expect(Math.abs(plain.consumer - 0.0189)).toBeLessThan(5e-5)
    expect(Math.abs(plain.producer - 0.0372)).toBeLessThan(5e-5)
    const guarded = globalRisks({ mean: 0, sd: 0.12 }, 0.04, limits, 0.04)
    expect(Math.abs(guarded.consumer - 0.0043)).toBeLessThan(5e-5)
    expect(Math.abs(guarded.producer - 0.115)).toBeLessThan(5e-4)
  })
})
