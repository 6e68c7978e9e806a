import { describe, expect, test } from 'vitest'
import { MatchingSearch } from '../../../src/analysis/matching/matching-search.ts'
import { pairsAgainst, slacknessFaults } from '../../../src/analysis/matching/proof.ts'
import { sparseGraph } from '../../../src/analysis/matching/sparse-graph.ts'

/** Two triangles joined by a dear edge: no perfect matching without it, and an odd cycle on either side. */
const costs: Record<string, number> = { '0-1': 2, '0-2': 2, '1-2': 2, '3-4': 2, '3-5': 2, '4-5': 2, '2-3': 40 }
const costOf = (a: number, b: number): number => costs[`${Math.min(a, b)}-${Math.max(a, b)}`] ?? Infinity
const edges = Object.keys(costs).map(key => key.split('-').map(Number) as [number, number])

function solved(price: number) {
  const leftOver = new Float64Array(6).fill(price)
  const { blossoms, y } = new MatchingSearch(sparseGraph(6, edges, costOf), leftOver).run()
  return { blossoms, y, leftOver, costOf }
}

describe('the proof of a matching', () => {
  test('two triangles: the dear edge is taken when leaving two over is dearer still', () => {
    const dear = solved(100)
    expect([...dear.blossoms.mate]).toEqual([1, 0, 3, 2, 5, 4])
    const cheap = solved(10)
    expect([...cheap.blossoms.mate].filter(w => w < 0)).toHaveLength(2)
    for (const result of [dear, cheap]) {
      expect(pairsAgainst(result)).toEqual([])
      expect(slacknessFaults(result)).toEqual([])
    }
  })

  test('finds a pair that would be cheaper, which the search was not given', () => {
    const result = solved(100)
    const cheaper = (a: number, b: number): number => (a + b === 5 && a * b === 0 ? 0 : costOf(a, b))
    expect(pairsAgainst({ ...result, costOf: cheaper })).toEqual([[5, 0]])
  })

  test('finds a dual that pays too much, a partner that is not mutual and a wrong price of leaving over', () => {
    const result = solved(100)
    const y = result.y.map((v, i) => (i === 0 ? v - 1 : v))
    expect(slacknessFaults({ ...result, y })).toEqual(['pair 0-1 has slack'])
    expect(slacknessFaults({ ...result, leftOver: new Float64Array(6).fill(-1000) })).toHaveLength(6)
    result.blossoms.mate[0] = 4
    expect(slacknessFaults(result)).toContain('0 has partner 4, which has another')
    result.blossoms.mate[0] = -1
    expect(slacknessFaults(result)).toContain('0 is left out at another price than its dual')
  })
})
