import { describe, expect, test } from 'vitest'
import { oneWayAnova } from '../../src/analysis/lots/anova.ts'
import { digits, readAnova } from './nist-strd.ts'

/**
 * Digits to hold of F. SmLs04…06 carry their tenths in numbers near 1e6 and SmLs07…09 in numbers near 1e12:
 * the data themselves then hold about 9 and about 3 digits in a double.
 */
const sets: [name: string, groups: number, digitsHeld: number][] = [
  ['SiRstv', 5, 12], ['SmLs01', 9, 13], ['SmLs02', 9, 12.5], ['SmLs03', 9, 12.5], ['SmLs04', 9, 9],
  ['SmLs05', 9, 9], ['SmLs07', 9, 2.5], ['SmLs08', 9, 2.5], ['SmLs09', 9, 2.5],
]

describe('NIST StRD analysis of variance sets (certified values in the file headers, read)', () => {
  test.each(sets)('%s: F, sums of squares, R² and residual sd reach their digits', (name, groups, held) => {
    const set = readAnova(name)
    expect(set.groups).toHaveLength(groups)
    const got = oneWayAnova(set.groups)
    const reached = {
      F: digits(got.f, set.f), between: digits(got.between.ss, set.betweenSs), within: digits(got.within.ss, set.withinSs),
      R2: digits(got.rSquared, set.rSquared), s: digits(got.residualSd, set.residualSd),
    }
    console.log(`${name}: digits of ${Object.entries(reached).map(([what, d]) => `${what} ${d.toFixed(1)}`).join('  ')}`)
    for (const d of Object.values(reached)) expect(d).toBeGreaterThanOrEqual(held)
  })

  test('the one-pass textbook sums fail on SmLs07, so these checks can fail', () => {
    const { groups, withinSs } = readAnova('SmLs07')
    const naive = groups.reduce((total, group) => total
      + group.reduce((s, v) => s + v * v, 0) - group.reduce((s, v) => s + v, 0) ** 2 / group.length, 0)
    expect(digits(naive, withinSs)).toBe(0)
  })

  test('refuses what has no variance within', () => {
    expect(() => oneWayAnova([[1], [2]])).toThrow(/more values than groups/)
    expect(oneWayAnova([[1, 1], [2, 2]]).f).toBe(Infinity)
  })
})
