import { describe, expect, test } from 'vitest'
import { autocorrelationLag1, mean, sd } from '../../src/analysis/statistics.ts'
import { digits, readUnivariate } from './nist-strd.ts'

/**
 * Digits to hold: NumAcc3 keeps its tenths in a number near 1e6, so the data themselves carry about 9 digits.
 */
const sets: [name: string, n: number, meanDigits: number, sdDigits: number, r1Digits: number][] = [
  ['Lew', 200, 14.5, 14.5, 14],
  ['Lottery', 218, 14, 14, 14],
  ['Mavro', 50, 14.5, 12.5, 12.5],
  ['NumAcc1', 3, 15, 15, 15],
  ['NumAcc2', 1001, 15, 14.5, 14],
  ['NumAcc3', 1001, 15, 9.4, 10],
  ['PiDigits', 5000, 15, 14.5, 12],
]

describe('NIST StRD univariate sets (certified values in the file headers, read)', () => {
  test.each(sets)('%s: mean, sd and lag-1 autocorrelation reach their digits', (name, n, dMean, dSd, dR) => {
    const set = readUnivariate(name)
    expect(set.values).toHaveLength(n)
    const reached = [
      digits(mean(set.values), set.mean), digits(sd(set.values), set.sd),
      digits(autocorrelationLag1(set.values), set.r1),
    ]
    console.log(`${name}: digits of mean, sd, r1: ${reached.map(d => d.toFixed(1)).join('  ')}`)
    expect(reached[0]).toBeGreaterThanOrEqual(dMean)
    expect(reached[1]).toBeGreaterThanOrEqual(dSd)
    expect(reached[2]).toBeGreaterThanOrEqual(dR)
  })

  test('the one-pass textbook variance fails on NumAcc3, so these checks can fail', () => {
    const { values, sd: certified } = readUnivariate('NumAcc3')
    const squares = values.reduce((s, v) => s + v * v, 0)
    const total = values.reduce((s, v) => s + v, 0)
    const naive = Math.sqrt((squares - total ** 2 / values.length) / (values.length - 1))
    expect(digits(naive, certified)).toBeLessThan(4)
  })
})
