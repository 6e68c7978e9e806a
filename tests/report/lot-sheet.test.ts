/** The sheet of a lot: what was compared with the same limits stands together, and what stands apart is named. */
import { describe, expect, it } from 'vitest'
import { lotLines, lotSheet } from '../../src/report/lot-sheet.ts'
import type { Criterion, PartResult } from '../../src/schema/run.ts'

const criterion = (value: number, over: Partial<Criterion> = {}): Criterion => ({
  name: 'resistance', value, unit: 'Ω', expandedU: 0.1, limitLow: 95, limitHigh: 105, guardBand: 0.1, pConform: 1, grade: 'accept', source: 'list', ...over,
})
const part = (position: string, criteria: Criterion[], grade: PartResult['grade'] = 'accept'): PartResult => ({
  position, part: position, profile: 'parts list', grade, provisional: false, disposition: 'use', pConform: 1, reason: '', criteria, figures: {},
})
const lot = [99.6, 100.1, 100.4, 99.9, 100.2, 99.8, 100.0].map((ohm, i) => part(`R${i}`, [criterion(ohm)]))

describe('a lot sheet', () => {
  it('gives yield with an exact interval, spread and capability', () => {
    const { parts, grades, yield: whole, quantities } = lotSheet(lot)
    expect([parts, grades.accept, whole!.share]).toEqual([7, 7, 1])
    // Clopper and Pearson, seven of seven: (0.025)^(1/7).
    expect(whole!.low).toBeCloseTo(0.025 ** (1 / 7), 9)
    const { mean, s, capability } = quantities[0]!.summary
    expect([mean, s]).toEqual([expect.closeTo(100, 9), expect.closeTo(0.264575, 6)])
    expect(capability!.cpk).toBeCloseTo(5 / (3 * s!), 9)
  })

  it('names the part that stands apart', () => {
    expect(lotSheet([...lot, part('R9', [criterion(104)])]).quantities[0]!.outliers).toEqual(['R9'])
  })

  it('keeps other limits and other quantities apart, and leaves out what is no number', () => {
    const mixed = [...lot, part('R8', [criterion(470, { limitLow: 446, limitHigh: 494 })]), part('C1', [criterion(1e-7, { name: 'capacitance', unit: 'F' })]),
      part('R7', [criterion(NaN)], 'cannot tell')]
    const { quantities, grades } = lotSheet(mixed)
    expect(quantities.map(({ name, summary }) => [name, summary.n])).toEqual([['resistance', 7], ['resistance', 1], ['capacitance', 1]])
    expect(grades['cannot tell']).toBe(1)
  })

  it('is lines of three cells for a screen, also of no part', () => {
    expect(lotLines(lotSheet(lot))[0]).toEqual(['7 parts', '7 accept', expect.stringMatching(/^100\.0 % accepted \(59\.0 % to 100\.0 %/)])
    expect(lotLines(lotSheet([]))).toEqual([['0 parts', '', '–']])
  })
})
