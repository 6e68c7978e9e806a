import { describe, expect, it } from 'vitest'
import { confusionLines, confusionOf } from '../../benchmarks/confusion.ts'
import { defectsOf } from '../../mocks/components/kinds.ts'
import { kinds } from './asked.ts'

describe('the confusion table', () => {
  it('has every kind sound and with each of its defects, and every part in one column', async () => {
    const count = 3
    const rows = await confusionOf(count, 5)
    expect(rows).toHaveLength(kinds.reduce((sum, kind) => sum + 1 + defectsOf[kind].length, 0))
    for (const { grades } of rows) expect(Object.values(grades).reduce((a, b) => a + b)).toBe(count)
    const of = (kind: string, defect: string | null) => rows.find(row => row.kind === kind && row.defect === defect)!
    expect(of('resistor', 'open').said).toEqual({ open: count })
    expect(of('diode', 'reversed')).toMatchObject({ grades: { accept: count }, said: { reversed: count } })
    expect(confusionLines([of('resistor', 'open'), of('resistor', null)], count).slice(2))
      .toEqual(['| resistor | open | · | · | 100 % | · | open 100 % |', '| resistor | sound | 100 % | · | · | · |  |'])
    expect(confusionLines([{ ...of('resistor', null), grades: { accept: 999, reject: 1, marginal: 0, 'cannot tell': 0 } }], 1000)[2]).toContain('| 99.9 % | · | 0.1 % |')
  })
})
