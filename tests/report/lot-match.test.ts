/** Matched sets from runs on record: what goes together, what is said of it, and what is refused. */
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { matchCsv } from '../../src/report/lot-match-csv.ts'
import { matchLot } from '../../src/report/lot-match.ts'
import { matchRequest, type MatchAnswer } from '../../src/schema/lots.ts'
import { criterion, line, result, runOf } from './lot-fixture.ts'

const gains = [101.2, 99.8, 100.4, 100.1, 99.1, 101.0, 100.9, 99.3]
const names = gains.map((_, i) => `Q${i + 1}`)
const lot = runOf('A', gains.map((gain, i) => result(names[i]!, [criterion(gain, { expandedU: 0.1 })])), [line(names, 'npn')])
const match = (over: object, runs = [lot]): MatchAnswer => matchLot(runs, matchRequest.parse({ runs: ['A'], by: [{ quantity: 'gain' }], ...over }))
const together = ({ sets }: MatchAnswer): string[] => sets.map(({ parts }) => parts.map(({ label }) => label).sort().join('+')).sort()

describe('pairs', () => {
  it('are those of the check value (brute force over 105 pairings), closest first', () => {
    const answer = match({})
    expect(together(answer)).toEqual(['Q1+Q6', 'Q2+Q4', 'Q3+Q7', 'Q5+Q8'])
    expect(answer.sets.reduce((sum, { spreads: [one] }) => sum + one!.difference, 0)).toBeCloseTo(1.2, 9)
    expect(answer.optimal).toBe(true)
    const distances = answer.sets.map(({ distance }) => distance)
    expect(distances).toEqual([...distances].sort((a, b) => a - b))
  })
  it('say what they differ by with uncertainty, and which differences the measurement cannot tell', () => {
    const u = 0.15
    const { sets, remarks } = match({}, [runOf('A', gains.map((gain, i) => result(names[i]!, [criterion(gain, { expandedU: u })])))])
    for (const { spreads: [one] } of sets) {
      expect(one!.expandedU).toBeCloseTo(u * Math.SQRT2, 9)
      expect(one!.told).toBe(one!.difference > u * Math.SQRT2)
    }
    // 0.2 twice is below 0.212, 0.3 and 0.5 are not.
    expect(sets.filter(({ spreads: [one] }) => !one!.told)).toHaveLength(2)
    expect(remarks.join()).toContain('in 2 of 4 sets the parts differ by less than the measurement can tell (up to 0.21)')
  })
  it('keep a hard limit, leave over what it forbids, and say where it is kept by the readings alone', () => {
    const answer = match({ by: [{ quantity: 'gain', within: 0.35 }] })
    expect(together(answer)).toEqual(['Q2+Q4', 'Q5+Q8', 'Q6+Q7'])
    expect(answer.leftOver.sort()).toEqual(['Q1', 'Q3'])
    // 0.1 and 0.2 ± 0.14 are within 0.35; 0.3 ± 0.14 may not be.
    expect(answer.sets.map(({ spreads: [one] }) => one!.within)).toEqual(['surely', 'surely', 'as read'])
    expect(answer.remarks.join()).toContain('1 set of 3 keeps the limit as read')
  })
  it('leave over what costs more than leaving over', () => {
    // The scale is the limit of 1: all four pairs cost 1.2, these three and leaving two over 0.6 and 0.4.
    const answer = match({ by: [{ quantity: 'gain', within: 1 }], leftOverCost: 0.2 })
    expect(answer.leftOver.sort()).toEqual(['Q1', 'Q3'])
    expect(answer.cost).toBeCloseTo(0.1 + 0.2 + 0.3 + 0.4, 9)
  })
  it('compare ratios where a share is asked for', () => {
    const { sets, quantities } = match({ by: [{ quantity: 'gain', as: 'ratio', within: 0.003 }] })
    const [set] = sets.filter(({ parts }) => parts.some(({ label }) => label === 'Q6'))
    expect(set!.spreads[0]!.difference).toBeCloseTo(101 / 100.9 - 1, 12)
    expect(set!.spreads[0]!.expandedU).toBeCloseTo(101 / 100.9 * Math.hypot(0.1 / 100.9, 0.1 / 101), 9)
    expect(quantities[0]).toMatchObject({ as: 'ratio', within: 0.003 })
  })
  it('never put parts of two kinds or materials together unasked, however close they read', () => {
    // Read side by side, each part's closest neighbour is of another sort.
    const sorts = [['npn', 'germanium'], ['npn', 'silicon'], ['pnp', 'germanium'], ['pnp', 'silicon']] as const
    const mixed = [1, 1, 1, 1, 2, 2, 2, 2, 3].map((gain, i) => result(`T${i}`, [criterion(gain + i / 100, { expandedU: 0.1 })]))
    const parts = sorts.map(([kind, material], k) =>
      line(mixed.flatMap(({ position }, i) => i % 4 === k ? [position] : []), kind, { line: k + 2, material }))
    for (const over of [{}, { onto: ['Q1', 'Q2', 'Q3', 'Q4'] }, { size: 3 }]) {
      const { sets, leftOver } = match(over, [runOf('A', mixed, parts)])
      for (const set of sets) expect(new Set(set.parts.map(({ label }) => Number(label.slice(1)) % 4)).size).toBe(1)
      expect(sets.flatMap(set => set.parts).length + leftOver.length).toBe(9)
      expect(sets.length).toBeGreaterThanOrEqual('size' in over ? 1 : 2)
    }
    const each = match({ oneOfEach: true }, [runOf('A', mixed, parts)])
    expect(each.sets.length).toBeGreaterThanOrEqual(3)
    for (const set of each.sets) expect(set.parts.map(({ label }) => Number(label.slice(1)) % 2)).toEqual([expect.any(Number), Number(set.parts[0]!.label.slice(1)) % 2])
  })
  it('weigh a difference by the spread within a sort, not by what sorts differ by', () => {
    // Between the sorts the volts differ by 0.4 V, within one by millivolts: these must count beside the gain.
    const read = (sort: number): readonly (readonly [gain: number, volts: number])[] =>
      [[100, 0.25], [101, 0.26], [100, 0.26], [101, 0.25]].map(([gain, volts]) => [gain!, volts! + 0.4 * sort])
    const rows = [0, 1].flatMap(sort => read(sort).map(([gain, volts], i) => result(`T${4 * sort + i}`, [
      criterion(gain, { expandedU: 0.1 }), criterion(volts, { name: 'base-emitter voltage', unit: 'V', expandedU: 1e-4 }),
    ])))
    const sorts = [line(['T0', 'T1', 'T2', 'T3'], 'npn', { material: 'germanium' }), line(['T4', 'T5', 'T6', 'T7'], 'npn', { line: 2, material: 'silicon' })]
    const by = [{ quantity: 'gain', weight: 1 }, { quantity: 'base-emitter voltage', weight: 4 }]
    expect(together(match({ by }, [runOf('A', rows, sorts)]))).toEqual(['T0+T3', 'T1+T2', 'T4+T7', 'T5+T6'])
  })
  it('take one of each of two kinds', () => {
    const kinds = [line(names.slice(0, 4), 'npn'), line(names.slice(4), 'pnp')]
    const { sets } = match({ oneOfEach: true }, [{ ...lot, run: { ...lot.run, setup: { request: { parts: kinds } } } }])
    expect(sets).toHaveLength(4)
    for (const { parts } of sets) expect(parts.map(({ label }) => Number(label.slice(1)) <= 4).sort()).toEqual([false, true])
  })
})

describe('what is considered', () => {
  const mixed = [
    result('Q1', [criterion(100)]), result('Q2', [criterion(101)]), result('Q3', [criterion(100)], { grade: 'marginal' }),
    result('Q4', [criterion(NaN)]), result('R1', [criterion(4700, { name: 'resistance', unit: 'Ω' })]),
  ]
  it('is what was accepted and has every quantity; of the rest it is said why not', () => {
    const { leftOut, considered } = match({}, [runOf('A', mixed)])
    expect(considered).toBe(2)
    expect(leftOut).toEqual([
      { label: 'Q3', why: 'marginal' }, { label: 'Q4', why: 'no gain on record' }, { label: 'R1', why: 'no gain on record' },
    ])
  })
  it('is the kind and value that is asked for, and other grades on request', () => {
    const parts = [line(['Q1', 'Q2', 'Q3'], 'npn'), line(['R1'], 'resistor')]
    const answer = match({ choice: { kind: 'npn', grades: ['accept', 'marginal'] } }, [runOf('A', mixed, parts)])
    expect([answer.considered, answer.leftOut]).toEqual([3, []])
  })
  it('counts a part once: the newest result of several runs', () => {
    const later = runOf('B', [result('Q1', [criterion(105)]), result('Q9', [criterion(104)])], [], { startedWallMs: 5 })
    const { sets, remarks } = match({}, [later, runOf('A', mixed.slice(0, 2))])
    expect(sets.flatMap(({ parts }) => parts.map(({ label, run }) => `${label} ${run}`)).sort()).toContain('Q1 B')
    expect(remarks.join()).toContain('1 older result')
  })
  it('has the second of two readings of one name under its own', () => {
    const diodes = [0.61, 0.62, 0.615, 0.621].map((high, i) => result(`D${i}`, [
      criterion(0.5, { name: 'forward voltage', unit: 'V' }), criterion(high, { name: 'forward voltage', unit: 'V', expandedU: 1e-4 }),
    ]))
    expect(together(match({ by: [{ quantity: 'forward voltage 2' }] }, [runOf('A', diodes)]))).toEqual(['D0+D2', 'D1+D3'])
  })
  it.each([
    [{ size: 3 }, 'there are not parts enough for one set of 3'],
    [{ by: [{ quantity: 'resistance' }] }, 'expected 2 accepted parts with these quantities (on record: gain, resistance)'],
    [{ onto: ['Q7'] }, 'designators must fill whole sets'], [{ by: [{ quantity: 'gain', weight: 0 }] }, 'a weight above 0'],
    [{ oneOfEach: true }, 'one of each makes pairs of two kinds'],
  ])('is refused with the reason: %j', (over, why) => {
    expect(() => match(over, [runOf('A', mixed)])).toThrow(why)
  })
})

describe('larger sets', () => {
  it('are blocks of the sorted line for one quantity, and go onto designators, the closest first', () => {
    const answer = match({ size: 4, onto: ['Q21', 'Q22', 'Q23', 'Q24'] })
    expect(together(match({ size: 4 }))).toEqual(['Q1+Q3+Q6+Q7', 'Q2+Q4+Q5+Q8'])
    expect(together(answer)).toEqual(['Q1+Q3+Q6+Q7'])
    expect(answer.sets[0]!.parts.map(({ onto }) => onto)).toEqual(['Q21', 'Q22', 'Q23', 'Q24'])
    // The other four go nowhere: sets are made for the designators.
    expect([answer.sets.length, answer.leftOver.length]).toEqual([1, 4])
  })
  it('are the best so many where designators ask for fewer, and not the best of a division of all', () => {
    const tight = [10, 10.4, 10.5, 10.9, 20, 20.3]
    const few = runOf('A', tight.map((gain, i) => result(`Q${i + 1}`, [criterion(gain)])))
    // All six: 0.4 + 0.4 + 0.3. One pair of them would be Q5+Q6; the closest two there are is Q2+Q3.
    expect(together(match({}, [few]))).toEqual(['Q1+Q2', 'Q3+Q4', 'Q5+Q6'])
    const one = match({ onto: ['Q11', 'Q12'] }, [few])
    expect([together(one), one.optimal, one.leftOver.length]).toEqual([['Q2+Q3'], true, 4])
    const two = match({ onto: ['Q11', 'Q12', 'Q13', 'Q14'] }, [few])
    expect([together(two), two.optimal]).toEqual([['Q2+Q3', 'Q5+Q6'], true])
  })
  it('are the best so many by brute force too, in pairs by two quantities', () => {
    for (let seed = 0; seed < 12; seed++) {
      const random = new SeededRandom(seed)
      const parts = Array.from({ length: 9 }, (_, i) => result(`Q${i}`, [
        criterion(200 + 30 * random.normal()), criterion(0.65 + 0.01 * random.normal(), { name: 'base-emitter voltage', unit: 'V' }),
      ]))
      const by = [{ quantity: 'gain', within: 1000 }, { quantity: 'base-emitter voltage', within: 1 }]
      const answer = match({ by, onto: ['A', 'B', 'C', 'D'] }, [runOf('A', parts)])
      const at = parts.map(({ criteria: [a, b] }) => [a!.value / 1000, b!.value] as const)
      const apart = (i: number, j: number): number => Math.hypot(at[i]![0] - at[j]![0], at[i]![1] - at[j]![1])
      const all = at.flatMap((_, i) => at.flatMap((__, j) => i < j ? [[i, j, apart(i, j)] as const] : []))
      const least = Math.min(...all.flatMap(([a, b, one]) => all.flatMap(([c, d, other]) => new Set([a, b, c, d]).size === 4 ? [one + other] : [])))
      expect(answer.sets).toHaveLength(2)
      expect(answer.cost).toBeCloseTo(least, 9)
      expect(answer.costAtLeast).toBeLessThanOrEqual(answer.cost)
    }
  })
  it('say which designators have none', () => {
    const answer = match({ size: 8, onto: Array.from({ length: 16 }, (_, i) => `Q${i + 30}`) })
    expect(answer.unfilled).toEqual(Array.from({ length: 8 }, (_, i) => `Q${i + 38}`))
    expect(answer.remarks.join()).toContain('no set for Q38')
  })
  it('state the bound where they are not proven the cheapest', () => {
    const random = new SeededRandom(5)
    const parts = Array.from({ length: 40 }, (_, i) => result(`Q${i}`, [
      criterion(200 + 30 * random.normal()), criterion(0.65 + 0.01 * random.normal(), { name: 'base-emitter voltage', unit: 'V' }),
    ]))
    const answer = match({ size: 4, by: [{ quantity: 'gain' }, { quantity: 'base-emitter voltage', weight: 2 }] }, [runOf('A', parts)])
    expect(answer.sets).toHaveLength(10)
    expect(answer.costAtLeast).toBeGreaterThan(0)
    expect(answer.costAtLeast).toBeLessThanOrEqual(answer.cost)
    expect(answer.remarks.some(remark => remark.includes('no other choice costs less than'))).toBe(!answer.optimal)
    expect(answer.optimal).toBe(false)
  })
})

describe('the table of sets', () => {
  it('has a row for every part, with what its set differs by, and left-overs at the end', () => {
    const rows = matchCsv(match({ by: [{ quantity: 'gain', within: 0.35 }] })).trimEnd().split('\r\n')
    expect(rows[0]).toBe('set,part,onto,run,gain (1),set differs in gain (1),expanded_uncertainty (1)')
    expect(rows).toHaveLength(1 + 6 + 2)
    expect(rows.slice(-2).sort()).toEqual([',Q1', ',Q3'])
  })
})
