/** Lists of any size: the largest is planned, and what is larger is refused before anything of it is made. */
import { describe, expect, it } from 'vitest'
import { readReels } from '../../src/parts/read-list.ts'
import { partsMost } from '../../src/schema/parts-list.ts'
import { startRequest } from '../../src/schema/run.ts'
import { screenRequest } from '../../src/schema/screening.ts'
import { askedItems } from '../../src/screening/asked-items.ts'
import { planScreening, usualBounds } from '../../src/screening/plan.ts'
import { wholeReach } from './physics-jig.ts'

const reels = (...lines: string[]): ReturnType<typeof readReels> =>
  readReels('reels.txt', lines.map((text, i) => ({ text, line: i + 1, column: 1 })))
const request = (quantities: readonly number[]): unknown => ({
  unit: 'reels', person: 'K. Marsh',
  parts: reels(...quantities.map(() => '10 x 4k7 5 %')).list.parts.map((part, i) => ({ ...part, quantity: quantities[i] })),
})

describe('a parts list', () => {
  it('is planned up to the most parts that one may have, in many lines or in one', () => {
    for (const quantities of [[partsMost], Array<number>(10).fill(partsMost / 10)]) {
      const { items } = askedItems(screenRequest.parse(request(quantities)))
      const { groups } = planScreening(items, wholeReach, { ...usualBounds, touchSafeV: 60 })
      expect(groups.reduce((sum, group) => sum + group.items.length, 0)).toBe(partsMost)
    }
  })

  it('is refused with more, whether one line has them or all together', () => {
    for (const quantities of [[partsMost + 1], [1e9], [2 ** 31], [partsMost, 1]]) {
      expect(screenRequest.safeParse(request(quantities)).success).toBe(false)
    }
    expect(screenRequest.safeParse(request([partsMost - 1, 1])).success).toBe(true)
  })

  it('says in which line of the file it becomes too long', () => {
    const { problems } = reels('60000 x 4k7 5 %', '60000 x 10k 5 %', '10 x 1k 5 %')
    expect(problems).toMatchObject([{ line: 2, expected: `at most ${partsMost} parts in all`, got: 'more' }])
  })
})

it('a run has no more parts than the largest rack has positions', () => {
  const parts = Array.from({ length: 481 }, () => ({ position: 'P01', part: 'C1', profile: 'p', note: '', condition: 'sound' }))
  expect(startRequest.safeParse({ sequence: 'reform', person: 'K. Marsh', parts }).success).toBe(false)
  expect(startRequest.safeParse({ sequence: 'reform', person: 'K. Marsh', parts: parts.slice(1) }).success).toBe(true)
})
