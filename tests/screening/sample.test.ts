/** Samples of lots: which plan, which parts, and what their grades say of the lot and nothing else. */
import { describe, expect, it } from 'vitest'
import { aqlColumns, inspectionLevels } from '../../src/analysis/lots/sampling-tables.ts'
import type { Grade } from '../../src/schema/run.ts'
import { sampleAqls, sampleAsked, sampleDrawn, sampleLevels, type SampleDrawn } from '../../src/schema/sampling.ts'
import { sampleWords } from '../../src/report/sample-words.ts'
import { drawSample, judgeLot, uninspected, type Inspected } from '../../src/screening/sample.ts'
import { lotWords } from '../../src/screening/sample-words.ts'

const names = (count: number): string[] => Array.from({ length: count }, (_, i) => `line 1 #${i + 1}`)
const asked = (over: object = {}) => sampleAsked.parse({ aql: '1.0', source: 'reels', ...over })
const draw = (count = 200, over: object = {}, before: Inspected = uninspected, original = true): SampleDrawn =>
  drawSample(names(count), asked(over), before, { seed: 'a', original })
const graded = ({ drawn }: SampleDrawn, bad: number, open = 0, grade: Grade = 'marginal'): Map<string, Grade> =>
  new Map(drawn.map((name, i) => [name, i < bad ? 'reject' : i < bad + open ? grade : 'accept']))
/** So many bad parts in each of a row of lots, under what is in force each time. */
const lots = (bads: readonly number[], before: Inspected = uninspected, over: object = {}): Inspected =>
  bads.reduce((state, bad) => { const sample = draw(200, over, state); return judgeLot(sample, graded(sample, bad)).after! }, before)

describe('a sample', () => {
  it('asks for the levels of the tables', () => {
    expect([sampleAqls, sampleLevels]).toEqual([aqlColumns, inspectionLevels])
    expect(sampleAsked.safeParse({ aql: '65', source: 'x' }).success).toBe(false)
  })
  it('is as large as the plan says, in the order of the reel, and the same for the same seed alone', () => {
    const sample = draw()
    // Lot of 200, level II, AQL 1.0: letter G, whose arrow leads to H (MIL-STD-105E tables I and II-A).
    expect([sample.letter, sample.n, sample.ac, sample.re, sample.drawn.length]).toEqual(['H', 50, 1, 2, 50])
    expect(sample.drawn).toEqual(names(200).filter(name => sample.drawn.includes(name)))
    expect(draw().drawn).toEqual(sample.drawn)
    expect(draw(200, { seed: 'b' }).drawn).not.toEqual(sample.drawn)
    expect(() => sampleDrawn.parse(sample)).not.toThrow()
  })
  it('draws each part as often as any other', () => {
    const count = new Map<string, number>()
    for (let i = 0; i < 4000; i++) for (const name of draw(20, { aql: '6.5', seed: String(i) }).drawn) count.set(name, (count.get(name) ?? 0) + 1)
    const n = draw(20, { aql: '6.5' }).n
    const expected = 4000 * n / 20
    const chi = names(20).reduce((sum, name) => sum + (count.get(name)! - expected) ** 2 / (expected * (1 - n / 20)), 0)
    // Chi-square of 19 degrees of freedom (fewer, as the sample is fixed): 43.8 at 0.001.
    expect(chi).toBeLessThan(43.8)
  })
  it('is the whole of a lot that is no larger', () => {
    expect(draw(8, { aql: '0.010' }).drawn).toEqual(names(8))
  })
  it('has the operating characteristic of this lot: from certain down, by the hypergeometric distribution', () => {
    const { curve, n } = draw(20, { aql: '4.0', level: 'I' })
    const [none, one] = curve
    expect([none!.accepted, one!.bad]).toEqual([1, 1])
    expect(curve.map(({ accepted }) => accepted)).toEqual([...curve.map(({ accepted }) => accepted)].sort((a, b) => b - a))
    expect(one!.accepted).toBeCloseTo(1 - n / 20, 9)
    expect(sampleWords(draw()).join('\n')).toMatch(/A lot with 1 bad \(0\.50 %\) is accepted 100 % of the time|A lot with \d+ bad/)
  })
})

describe('a lot', () => {
  it('is accepted up to the acceptance number, and refused beyond; the rest has no grade', () => {
    const sample = draw()
    expect([0, 1, 2, 9].map(bad => judgeLot(sample, graded(sample, bad)).outcome)).toEqual(['accepted', 'accepted', 'refused', 'refused'])
    expect(lotWords(sample, judgeLot(sample, graded(sample, 1)))).toBe(
      'lot accepted: 1 bad of 50 measured, 1 allowed; normal inspection goes on. 150 parts were not measured and have no grade')
  })
  it('stays undecided where a part that could not be told would turn the scale, or one was not measured', () => {
    const sample = draw()
    expect(judgeLot(sample, graded(sample, 1, 1)).outcome).toBe('undecided')
    expect(judgeLot(sample, graded(sample, 0, 1)).outcome).toBe('accepted')
    expect(judgeLot(sample, graded(sample, 2, 5)).outcome).toBe('refused')
    const missing = graded(sample, 2)
    missing.delete(sample.drawn[49]!)
    expect(judgeLot(sample, missing)).toMatchObject({ outcome: 'undecided', measured: 49, after: null })
    expect(lotWords(sample, judgeLot(sample, missing))).toBe('lot undecided: 2 bad of 49 measured, 1 allowed; '
      + '1 of the 50 drawn not measured: measure those. 151 parts were not measured and have no grade')
    expect(lotWords(sample, judgeLot(sample, graded(sample, 1, 1)))).toContain('; 1 measured without a grade that tells: measure those')
  })
  it('that is inspected again counts for no switching', () => {
    const again = draw(200, {}, uninspected, false)
    expect(judgeLot(again, graded(again, 5))).toMatchObject({ outcome: 'refused', after: null })
    expect(lotWords(again, judgeLot(again, graded(again, 0)))).toContain('it counts for no switching')
  })
})

describe('inspection from lot to lot', () => {
  it('is tightened after two of five refused, and normal again after five accepted', () => {
    expect(lots([0, 2, 0, 0]).inspection).toBe('normal')
    expect(lots([0, 2, 0, 2]).inspection).toBe('tightened')
    expect(draw(200, {}, lots([2, 2]))).toMatchObject({ inspection: 'tightened', n: 80, ac: 1 })
    expect(lots([2, 2, 0, 0, 0, 0]).inspection).toBe('tightened')
    expect(lots([2, 2, 0, 0, 0, 0, 0]).inspection).toBe('normal')
  })
  it('is reduced after ten accepted where a limit was stated, and then refuses from another number', () => {
    const ten = Array.from({ length: 10 }, () => 0)
    expect(lots(ten).inspection).toBe('normal')
    expect(lots(ten, uninspected, { steady: false, reducedLimit: 3 }).inspection).toBe('normal')
    const reduced = lots(ten, uninspected, { reducedLimit: 3 })
    expect(reduced.inspection).toBe('reduced')
    const sample = draw(200, {}, reduced)
    expect(sample).toMatchObject({ n: 20, ac: 0, re: 2 })
    expect(judgeLot(sample, graded(sample, 1))).toMatchObject({ outcome: 'accepted', after: { inspection: 'normal' } })
  })
  it('is stopped after ten tightened, and begins tightened once something was put right', () => {
    const stopped = lots([2, 2, 2, 0, 2, 0, 2, 0, 2, 0, 2, 0])
    expect(stopped.inspection).toBe('stopped')
    expect(() => draw(200, {}, stopped)).toThrow('inspection of reels is stopped')
    expect(draw(200, { mended: 'another supplier' }, stopped)).toMatchObject({ inspection: 'tightened', mended: 'another supplier', lots: '' })
    expect(() => draw(200, { mended: 'nothing' })).toThrow('a source is mended whose inspection was stopped')
  })
})
