/** Pages of a comparison of lots and of a gauge study: whole in one file, drawn as vectors, escaped, and true to their answers. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { gaugeCsv, gaugeHtml } from '../../src/report/gauge-html.ts'
import { gaugeResult } from '../../src/report/gauge-result.ts'
import { compareCsv, compareHtml } from '../../src/report/lot-compare-html.ts'
import { compareRuns } from '../../src/report/lot-compare.ts'
import type { LotRun } from '../../src/report/lot-parts.ts'
import { gaugeRequest, readingName, type GaugeAnswer } from '../../src/schema/gauge.ts'
import { compareAnswer, compareRequest, type CompareAnswer } from '../../src/schema/lots.ts'
import { criterion, line, result, runOf } from './lot-fixture.ts'

const ohms = (id: string, values: readonly number[]): LotRun => runOf(id, values.map((ohm, i) =>
  result(`R${i}`, [criterion(ohm, { name: 'resistance', unit: 'Ω', expandedU: 0.5 })])))
const compare = (...lots: (readonly number[])[]): CompareAnswer => {
  const runs = lots.map((values, i) => ohms(`L${i + 1}`, values))
  return compareRuns(runs, compareRequest.parse({ runs: ['L1'] }))
}
const normal = (seed: number, n: number, middle: number, s: number): number[] => {
  const random = new SeededRandom(seed)
  return Array.from({ length: n }, () => middle + s * random.normal())
}
/** Nothing fetched, no script, and no number that is none in what is drawn. */
function expectWhole(page: string): void {
  expect(page).toMatch(/^<!doctype html>/)
  expect(page).not.toMatch(/<script|<img|href=|src=|url\(|@import/)
  for (const [, value] of page.matchAll(/\s(?:x|y|x1|x2|y1|y2|cx|cy|width|height)="([^"]*)"/g)) expect(value).toMatch(/^-?\d+(\.\d+)?$/)
}
const count = (page: string, what: string): number => page.split(what).length - 1

describe('the page of a comparison', () => {
  it('draws every lot with its mean and interval, and differences against zero', () => {
    const answer = compare(normal(1, 40, 1000, 4), normal(2, 40, 1006, 4))
    const page = compareHtml(answer)
    expectWhole(page)
    expect(page).toContain('resistance: how the lots lie')
    expect(page).toContain('resistance: differences of the means')
    const drawn = answer.quantities[0]!.lots.flatMap(({ bins }) => bins.filter(bin => bin.count > 0))
    expect(count(page, '<rect')).toBe(drawn.length)
    expect(count(page, '<circle')).toBe(3)
    for (const says of answer.quantities[0]!.says) expect(page).toContain(says.slice(0, 30))
    expect(page).toContain('one reading is sure to ± 500 mΩ')
  })

  it('has each lot whole in its bars, and its mean inside the interval, for any lots', () => {
    const values = fc.array(fc.integer({ min: -1e6, max: 1e6 }).map(ohm => ohm / 100), { minLength: 2, maxLength: 30 })
    fc.assert(fc.property(fc.array(values, { minLength: 2, maxLength: 5 }), lots => {
      const answer = compare(...lots)
      expect(compareAnswer.safeParse(JSON.parse(JSON.stringify(answer))).success).toBe(true)
      for (const one of answer.quantities[0]!.lots) {
        expect(one.bins.reduce((sum, bin) => sum + bin.count, 0)).toBe(one.n)
        if (one.meanLow === null) continue
        expect(one.meanLow).toBeLessThanOrEqual(one.mean)
        expect(one.meanHigh).toBeGreaterThanOrEqual(one.mean)
      }
      expectWhole(compareHtml(answer))
    }), { numRuns: 60 })
  })

  it('has intervals of means that cover the true one as often as they say', () => {
    const draws = Array.from({ length: 400 }, (_, i) => compare(normal(2 * i, 6, 10, 1), normal(2 * i + 1, 6, 10, 1)).quantities[0]!.lots).flat()
    const covered = draws.filter(({ meanLow, meanHigh }) => meanLow! <= 10 && meanHigh! >= 10).length
    expect(Math.abs(covered / draws.length - 0.95)).toBeLessThan(4 * Math.sqrt(0.95 * 0.05 / draws.length))
  })

  it('escapes names, and a table runs none as a formula', () => {
    const answer = compare([1, 2, 3], [4, 5, 6])
    const [one] = answer.quantities
    const named = { ...answer, runs: ['<script>'], leftOut: ['<script>'], quantities: [{
      ...one!, quantity: '<script>alert(1)</script>', lots: one!.lots.map(lot => ({ ...lot, lot: '=<script>' })),
      differences: one!.differences.map(two => ({ ...two, first: '<script>', second: '&' })),
    }] }
    expectWhole(compareHtml(named))
    expect(compareHtml(named)).toContain('&lt;script&gt;alert(1)')
    expect(compareCsv(named)).toContain(`,'=<script>,`)
  })

  it('of lots that are all one value, and of very many, is whole', () => {
    expectWhole(compareHtml(compare([5, 5], [5, 5])))
    const many = compareHtml(compare(...Array.from({ length: 60 }, (_, i) => normal(i, 3, i, 1))))
    expectWhole(many)
    expect(many).toContain('The first 40 of 60; the table has them all.')
    expect(many).toContain('<td>L60</td>')
  })
})

const people = ['Ida', 'Bo', 'Jun']
function studied(own: number, between: number, parts = ['R1', 'R2', 'R3<script>']): GaugeAnswer {
  const random = new SeededRandom(7)
  const results = people.flatMap((who, i) => parts.flatMap((part, j) => [1, 2].map(trial => result(readingName(part, who, trial), [
    criterion(1000 + 10 * j + between * i + own * random.normal(), { name: 'resistance', unit: 'Ω', limitLow: 900, limitHigh: 1100 }),
  ]))))
  const run = runOf('G1', results, [], { setup: { request: { parts: [line(parts, 'resistor')], study: { people, trials: 2 } } } })
  return gaugeResult([run], gaugeRequest.parse({ run: 'G1' }))
}

describe('the page of a gauge study', () => {
  it('draws the spreads with their intervals and every reading, with the verdict first', () => {
    const answer = studied(0.3, 0.2)
    const page = gaugeHtml(answer)
    expectWhole(page)
    expect(page).toContain('What the readings vary by')
    for (const name of ['repeatability', 'reproducibility', 'gauge, both', 'parts', 'all readings']) expect(page).toContain(`>${name}<`)
    expect(count(page, '<circle')).toBe(5 + answer.readings.flat(2).length)
    expect(page).toContain(answer.says[0]!.slice(0, 40))
    expect(page).toContain('R3&lt;script&gt; by Ida #1')
  })

  it('is whole where nothing varied, and where an interval has no bound', () => {
    expectWhole(gaugeHtml(studied(0, 0, ['R1', 'R2'])))
    const answer = studied(5, 50)
    expectWhole(gaugeHtml({ ...answer, reproducibility: { ...answer.reproducibility, high: null } }))
  })

  it('keeps every spread in sight where one interval reaches far, and shows that it goes on', () => {
    const answer = studied(1, 1)
    const largest = Math.max(...[answer.repeatability, answer.reproducibility, answer.gauge, answer.partToPart, answer.total].map(({ value }) => value!))
    const ends = (page: string): number => count(page.slice(0, page.indexOf('every reading, by part')), 'class="line main"')
    const near = gaugeHtml({ ...answer, total: { ...answer.total, high: 1.5 * largest } })
    const far = gaugeHtml({ ...answer, total: { ...answer.total, high: 1e9 * largest } })
    const [, reach] = /<circle r="3" cx="([\d.]+)"[^>]*><title>all readings/.exec(far)!
    expect(Number(reach)).toBeGreaterThan(190 + 510 / 4)
    expect(ends(near) - ends(far)).toBe(1)
    expectWhole(far)
  })

  it('has every figure and every reading in its table', () => {
    const answer = studied(1, 1)
    const rows = gaugeCsv(answer).trim().split('\r\n').map(row => row.split(','))
    expect(rows.filter(([what]) => what === 'reading').map(row => Number(row[5]))).toEqual(answer.readings.flat(2))
    expect(rows.filter(([what]) => what === 'figure')).toHaveLength(8)
    expect(Number(rows[1]![5])).toBe(answer.repeatability.value)
  })
})
