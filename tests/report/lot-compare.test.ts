/** Lots side by side: what differs is found, what does not is not claimed, and the words say which. */
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { compareRuns } from '../../src/report/lot-compare.ts'
import type { LotRun } from '../../src/report/lot-parts.ts'
import { compareRequest, type CompareAnswer } from '../../src/schema/lots.ts'
import { criterion, line, meter, result, runOf } from './lot-fixture.ts'

const normal = (seed: number, n: number, middle: number, s: number): number[] => {
  const random = new SeededRandom(seed)
  return Array.from({ length: n }, () => middle + s * random.normal())
}
const ohms = (id: string, values: readonly number[], over = {}): LotRun => runOf(id, values.map((ohm, i) =>
  result(`R${i}`, [criterion(ohm, { name: 'resistance', unit: 'Ω', expandedU: 0.5 })])), [], over)
const compare = (runs: LotRun[], over: object = {}): CompareAnswer =>
  compareRuns(runs, compareRequest.parse({ runs: runs.map(({ run }) => run.id), ...over }))
const saying = ({ quantities: [one] }: CompareAnswer): string => one!.says.join('\n')
const verdicts = ({ quantities: [one] }: CompareAnswer): Record<string, boolean | null> =>
  Object.fromEntries(one!.tests.map(({ asks, differs }) => [asks, differs]))

describe('two lots', () => {
  it('whose means differ are said to, by how much and how surely', () => {
    const answer = compare([ohms('A', normal(1, 40, 1000, 4)), ohms('B', normal(2, 40, 1006, 4))])
    const [one] = answer.quantities[0]!.differences
    expect(verdicts(answer)).toMatchObject({ means: true, order: true, spreads: false })
    expect([one!.low < 6, one!.high > 6, one!.low > 0]).toEqual([true, true, true])
    expect(saying(answer)).toMatch(/the mean of B is .* Ω higher than that of A/)
  })
  it('of one mean are not said to be alike: what would have been missed is told', () => {
    const answer = compare([ohms('A', normal(21, 20, 1000, 4)), ohms('B', normal(22, 20, 1000, 4))])
    expect(verdicts(answer)).toMatchObject({ means: false })
    expect(saying(answer)).toContain('that is not proof of none')
  })
  it('whose spreads differ are said to', () => {
    const answer = compare([ohms('A', normal(5, 40, 1000, 1)), ohms('B', normal(6, 40, 1000, 6))])
    expect(verdicts(answer)).toMatchObject({ spreads: true })
    expect(saying(answer)).toMatch(/B has the widest, [4-9]\.\d times that of A/)
  })
  it('find it in so many of a thousand draws by chance as the tests state', () => {
    let alarms = 0
    for (let i = 0; i < 1000; i++) {
      if (verdicts(compare([ohms('A', normal(2 * i, 12, 10, 1)), ohms('B', normal(2 * i + 1, 15, 10, 1))]))['means']) alarms++
    }
    // Binomial, 0.05 of 1000, p > 0.001 two-sided.
    expect(alarms).toBeGreaterThan(28)
    expect(alarms).toBeLessThan(74)
  })
  it('whose difference is less than a reading can tell are told so, and which instruments measured', () => {
    const close = [ohms('A', normal(7, 60, 1000, 0.2)), ohms('B', normal(8, 60, 1000.3, 0.2))]
    expect(saying(compare(close))).toContain('less than the uncertainty of one reading (500 mΩ)')
    expect(compare(close).assumptions.join()).toContain('instruments were the same in all runs')
    const other = { ...close[1]!, run: { ...close[1]!.run, setup: { instruments: [{ ...meter, identity: 'C,D,1,2' }] } } }
    expect(compare([close[0]!, other]).assumptions.join()).toContain('MIND: the runs were not measured by the same instruments')
  })
  it('of parts that all read the same are described, not tested', () => {
    const answer = compare([ohms('A', [5, 5, 5]), ohms('B', [5, 5, 5])])
    expect(verdicts(answer)).toEqual({ means: null, order: null, spreads: null, 'spreads, of normal lots': null })
    expect(saying(answer)).toContain('the means cannot be tested')
  })
  it('of two parts have no spreads tested: about a median of two both deviations are equal', () => {
    const answer = compare([ohms('A', [4700.1, 4703.3]), ohms('B', [4690.2, 4701.7])])
    expect(verdicts(answer)).toMatchObject({ spreads: null, 'spreads, of normal lots': null })
    expect(verdicts(answer)['means']).toBe(false)
    expect(saying(answer)).toContain('the spreads are not tested: A has 2 parts, B has 2 parts, and that takes three of each')
    expect(saying(answer)).not.toContain('spreads differ')
    const uneven = compare([ohms('A', [4700.1, 4703.3]), ohms('B', normal(31, 20, 4700, 40)), ohms('C', normal(32, 20, 4700, 4))])
    expect(verdicts(uneven)).toMatchObject({ spreads: null })
    expect(saying(uneven)).toContain('the spreads are not tested: A has 2 parts, and that takes three of each')
  })
  it('whose parts all lie as far from their median have no spreads tested', () => {
    const answer = compare([ohms('A', [0.1, 0.1, 0.3, 0.3]), ohms('B', [0.1, 0.1, 0.7, 0.7])])
    expect(verdicts(answer)).toMatchObject({ spreads: null })
    expect(saying(answer)).toContain('the spreads are not tested: within a lot every part lies as far from its median')
  })
  it('name a part that stands far from the rest, and say where tests disagree', () => {
    const answer = compare([ohms('A', [...normal(9, 15, 100, 1), 160]), ohms('B', normal(10, 16, 102, 1))])
    expect(saying(answer)).toMatch(/R15 of A.* far from the rest/)
    expect(verdicts(answer)).toMatchObject({ means: false, order: true })
    expect(saying(answer)).toContain('the test by order says otherwise')
  })
})

describe('many lots', () => {
  it('are tested together, and which differ is told two by two at one joint confidence', () => {
    const answer = compare([ohms('A', normal(11, 30, 100, 1)), ohms('B', normal(12, 30, 100, 1)), ohms('C', normal(13, 30, 103, 1))])
    const [one] = answer.quantities
    expect(one!.tests[0]).toMatchObject({ name: 'analysis of variance', differs: true })
    expect(one!.differences.filter(({ differs }) => differs).map(({ first, second }) => first + second)).toEqual(['AC', 'BC'])
    expect(saying(answer)).toContain('not all 3 lots have one mean')
  })
})

describe('lots within a run', () => {
  const parts = [line(['R1', 'R2', 'R3'], 'resistor', { line: 2, valueText: '100R', value: { quantity: 'resistance', si: 100, unit: 'Ω' } }),
    line(['R4', 'R5', 'R6'], 'resistor', { line: 3, valueText: '1k', value: { quantity: 'resistance', si: 1000, unit: 'Ω' } }), line(['R7'], 'resistor', { line: 4, valueText: '9k1' })]
  const run = runOf('A', [100, 101, 99, 1001, 999, 1000, 9100].map((ohm, i) => result(`R${i + 1}`, [criterion(ohm, { name: 'resistance', unit: 'Ω' })])), parts)
  it('are made by what the list says', () => {
    expect(compare([run], { by: 'value' }).quantities[0]!.lots.map(({ lot, n }) => [lot, n])).toEqual([['100R', 3], ['1k', 3]])
    expect(compare([run], { by: 'line' }).leftOut).toEqual(['resistance of line 4: of one part alone'])
  })
  it('are refused where there are no two', () => {
    expect(() => compare([run], { by: 'kind' })).toThrow('there are no two lots to compare')
    expect(() => compare([run], { by: 'value', quantity: 'gain' })).toThrow('with resistance')
  })
})
