import { describe, expect, it } from 'vitest'
import { standsWords, unitCells, unitHtml, unitPage, unitSummary, type UnitLine } from '../../src/report/unit-page.ts'
import type { PartResult } from '../../src/schema/run.ts'
import type { Newest } from '../../src/schema/unit.ts'

const line = (designator: string, action: UnitLine['wanted']['action'] = 'prove', reason = ''): UnitLine =>
  ({ designator, what: 'capacitor 47u 450 V', ratedV: 450, wanted: { action, reason } })
const newest = (result: Partial<PartResult>): Newest => ({
  run: 'R1', sequence: 'screen', startedWallMs: 0, person: 'Ida', volts: null, ratedV: null, result: {
    position: 'C1', part: 'pavilion-C1', profile: 'parts list', grade: 'accept', provisional: false, disposition: 'use',
    pConform: 1, reason: 'within every limit', figures: {}, criteria: [{
      name: 'capacitance', value: 47e-6, unit: 'F', expandedU: 0.1e-6, guardBand: 0, pConform: 1, grade: 'accept', source: 's',
    }], ...result,
  },
})
const page = (line: UnitLine, found: Newest | null) => unitPage(
  [line], { unit: 'pavilion', runs: 3, wasAll: true, parts: [{ designator: line.designator, newest: found, stands: null, inService: null }] }, null)
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

  const at = (volts: number, over: Partial<PartResult> = {}): Newest => ({ ...newest(over), run: `F${volts}`, sequence: 'reform', volts, ratedV: 450 })
  const after = (later: Newest, earlier: Newest | null, action: UnitLine['wanted']['action'] = 'prove') => unitPage(
    [line('C1', action)], { unit: 'pavilion', runs: 2, wasAll: true, parts: [{ designator: 'C1', newest: later, stands: earlier, inService: null }] }, null).rows[0]!

  it('goes by the older word that the newest does not undo, says so, and is of the new part where the policy replaces it', () => {
    const bad = at(135, { grade: 'reject', disposition: 'replace', reason: 'over its limit' })
    expect(after(at(50), bad)).toMatchObject({ standing: 'to replace', newest: { run: 'F135' }, passedOver: { run: 'F50' } })
    expect(unitCells(after(at(50), bad)).join()).toContain('F50 accepted it since, at 50.0 V: that does not count')
    expect(unitCells(after({ ...at(0), run: 'R1' }, at(450, { provisional: true }))).join()).toContain('R1 accepted it since, without its volts')
    expect(after(at(0), at(450, { provisional: true })).standing).toBe('provisional')
    expect(after(at(450), bad, 'replace-and-prove-new')).toMatchObject({ standing: 'proven', passedOver: null })
  })

  it('is not proven to fewer volts than its rating or than the list asks, and says to how many', () => {
    const upTo = { volts: 50, ratedV: 450 }
    const row = after(at(50, { provisional: true, upTo }), null)
    expect([row.standing, standsWords(row)]).toEqual(['accepted to fewer volts', 'accepted (provisional) to 50.0 V of 450 V'])
    expect(standsWords(after(at(50, { upTo }), null))).toBe('accepted to 50.0 V of 450 V')
    expect(standsWords(after({ ...at(440), ratedV: 440 }, null))).toBe('accepted to 440 V of 450 V')
    expect(standsWords(after(at(0), null))).toBe('accepted without volts, of 450 V')
    expect(standsWords(after(at(450), null))).toBe('proven')
    const jig = (leakageV: number): string => standsWords(page(line('C1'), { ...newest({ figures: { leakageV } }), volts: leakageV }).rows[0]!)
    expect([jig(20), jig(449)]).toEqual(['accepted to 20.0 V of 450 V', 'proven'])
    expect(unitPage([line('C1')], { unit: 'pavilion', runs: 1, wasAll: true, parts: [{ designator: 'C1', newest: at(50), stands: null, inService: null }] }, null).complete)
      .toBe(false)
  })

  it('is complete only when nothing is left to be done', () => {
    const lines = [line('C1'), line('C2', 'leave'), line('C3')]
    const parts = (third: Newest | null) => [
      { designator: 'C1', newest: newest({}), stands: null, inService: null }, { designator: 'C2', newest: null, stands: null, inService: null },
      { designator: 'C3', newest: third, stands: null, inService: null },
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
      unit: 'pavilion', runs: 1, wasAll: true, parts: [{ designator: 'C1', newest: newest({ reason: '<script>' }), stands: null, inService: null }],
    }, null))
    expect(text).not.toContain('<script>')
    expect(text.indexOf('C&lt;2&gt;')).toBeLessThan(text.indexOf('>C1<'))
    expect(text).toContain('capacitance (47.00 ± 0.10) µF')
  })
})
