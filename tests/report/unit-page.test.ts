import { describe, expect, it } from 'vitest'
import { standsWords, unitHtml, unitPage, unitSummary, type UnitLine } from '../../src/report/unit-page.ts'
import type { PartResult } from '../../src/schema/run.ts'
import type { Newest } from '../../src/schema/unit.ts'

const line = (designator: string, action: UnitLine['wanted']['action'] = 'prove', reason = ''): UnitLine =>
  ({ designator, what: 'capacitor 47u 450 V', ratedV: 450, wanted: { action, reason } })
const newest = (result: Partial<PartResult>): Newest => ({
  run: 'R1', sequence: 'screen', startedWallMs: 0, person: 'Ida', result: {
    position: 'C1', part: 'pavilion-C1', profile: 'parts list', grade: 'accept', provisional: false, disposition: 'use',
    pConform: 1, reason: 'within every limit', figures: {}, criteria: [{
      name: 'capacitance', value: 47e-6, unit: 'F', expandedU: 0.1e-6, guardBand: 0, pConform: 1, grade: 'accept', source: 's',
    }], ...result,
  },
})
const page = (line: UnitLine, found: Newest | null) => unitPage(
  [line], { unit: 'pavilion', runs: 3, wasAll: true, parts: [{ designator: line.designator, newest: found, underVolts: null }] }, null)
const standing = (...given: Parameters<typeof page>) => page(...given).rows[0]!.standing

describe('how a part of a unit stands', () => {
  it.each([
    [{}, 'proven'], [{ provisional: true }, 'provisional'], [{ grade: 'marginal' }, 'marginal'],
    [{ grade: 'reject', disposition: 'replace' }, 'to replace'], [{ grade: 'reject', disposition: 'form' }, 'to form'],
    [{ grade: 'cannot tell', disposition: 'form' }, 'to form'], [{ grade: 'cannot tell', disposition: 'retest' }, 'to retest'],
  ] as const)('%j on record: %s', (result, expected) => {
    expect(standing(line('C1'), newest(result))).toBe(expected)
  })

  it('goes by the policy first, and is not measured without a result', () => {
    expect(standing(line('C1'), null)).toBe('not measured')
    expect(standing(line('C1', null), newest({}))).toBe('undecided')
    expect(standing(line('C1', 'leave'), null)).toBe('left as it is')
    expect(standing(line('C1', 'replace'), newest({}))).toBe('replaced, not proven')
    expect(standing(line('C1', 'replace-and-prove-new'), newest({}))).toBe('proven')
    expect(page(line('C1', 'replace-and-prove-new'), newest({})).remarks.join()).toMatch(/of the one that went in/)
  })

  const formed = (over: Partial<PartResult>): Newest => ({ ...newest(over), run: 'F1', sequence: 'reform' })
  const after = (later: Newest, earlier: Newest, action: UnitLine['wanted']['action'] = 'prove') => unitPage(
    [line('C1', action)], { unit: 'pavilion', runs: 2, wasAll: true, parts: [{ designator: 'C1', newest: later, underVolts: earlier }] }, null).rows[0]!

  it('is not proven by a check without volts after it was condemned, or before its soak; a bad word counts', () => {
    const check = newest({ reason: 'within every limit' })
    const condemned = after(check, formed({ grade: 'reject', disposition: 'replace', reason: 'over its limit' }))
    expect(condemned).toMatchObject({ standing: 'to replace', newest: { run: 'F1' }, passedOver: { run: 'R1' } })
    expect(after(check, formed({ provisional: true })).standing).toBe('provisional')
    expect(after(newest({ grade: 'reject', disposition: 'replace' }), formed({})).standing).toBe('to replace')
    expect(after(check, formed({ grade: 'reject', disposition: 'replace' }), 'replace-and-prove-new').standing).toBe('proven')
    expect(after(formed({}), formed({}))).toMatchObject({ standing: 'proven', passedOver: null })
  })

  it('is proven only to the volts it was charged to', () => {
    const words = (leakageV: number): string => standsWords(page(line('C1'), newest({ figures: { leakageV } })).rows[0]!)
    expect(words(20)).toBe('proven to 20.0 V')
    expect(words(449)).toBe('proven')
    expect(standsWords(page(line('C1'), newest({ figures: {} })).rows[0]!)).toBe('proven')
  })

  it('is complete only when nothing is left to be done', () => {
    const lines = [line('C1'), line('C2', 'leave'), line('C3')]
    const parts = (third: Newest | null) => [
      { designator: 'C1', newest: newest({}), underVolts: null }, { designator: 'C2', newest: null, underVolts: null },
      { designator: 'C3', newest: third, underVolts: null },
    ]
    const open = unitPage(lines, { unit: 'pavilion', runs: 3, wasAll: false, parts: parts(null) }, 'house')
    expect(open).toMatchObject({ complete: false, counts: { proven: 1, 'left as it is': 1, 'not measured': 1 } })
    expect(open.remarks.join()).toContain('Only the newest 3 runs')
    expect(unitSummary(open)).toBe('pavilion: 3 parts, 1 proven, 1 not measured, 1 left as it is.')
    const done = unitPage(lines, { unit: 'pavilion', runs: 3, wasAll: true, parts: parts(newest({})) }, 'house')
    expect(done.complete).toBe(true)
    expect(unitSummary(done)).toContain('Nothing is missing.')
  })

  it('is written as a page that shows what is open first and escapes what people wrote', () => {
    const text = unitHtml(unitPage([line('C1'), line('C<2>')], {
      unit: 'pavilion', runs: 1, wasAll: true, parts: [{ designator: 'C1', newest: newest({ reason: '<script>' }), underVolts: null }],
    }, null))
    expect(text).not.toContain('<script>')
    expect(text.indexOf('C&lt;2&gt;')).toBeLessThan(text.indexOf('>C1<'))
    expect(text).toContain('capacitance (47.00 ± 0.10) µF')
  })
})
