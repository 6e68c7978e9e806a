import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { matchPairs, type PairRequest } from '../../../src/analysis/matching/pairs.ts'
import { distanceTable } from '../../../src/analysis/matching/distance.ts'
import { SeededRandom } from '../../../src/base/random.ts'

/** Cheapest pairing by trying all: the number left over first where leaving over has no price. */
function bruteForce({ quantities, leftOverCost, sideOf }: PairRequest): { left: number; distance: number } {
  const { n, between } = distanceTable(quantities)
  let best = { left: Infinity, distance: Infinity }
  const better = (left: number, distance: number): boolean => leftOverCost === undefined
    ? left < best.left || (left === best.left && distance < best.distance)
    : !(best.left < Infinity) || distance + left * leftOverCost < best.distance + best.left * leftOverCost
  const go = (rest: number[], left: number, distance: number): void => {
    const [a, ...others] = rest
    if (a === undefined) { if (better(left, distance)) best = { left, distance }; return }
    go(others, left + 1, distance)
    for (const b of others) {
      const d = sideOf && sideOf[a] === sideOf[b] ? Infinity : between(a, b)
      if (d < Infinity) go(others.filter(o => o !== b), left, distance + d)
    }
  }
  go(Array.from({ length: n }, (_, i) => i), 0, 0)
  return best
}

function expectOptimal(request: PairRequest): void {
  const best = bruteForce(request)
  const got = matchPairs(request)
  const price = request.leftOverCost ?? 0
  const room = 1e-9 + got.gapAtMost
  if (request.leftOverCost === undefined) expect(got.leftOver.length).toBe(best.left)
  const [cost, least] = [got.distance + got.leftOver.length * price, best.distance + best.left * price]
  expect(cost).toBeLessThanOrEqual(least + room)
  expect(cost).toBeGreaterThanOrEqual(least - room)
  expect(new Set([...got.leftOver, ...got.pairs.flatMap(p => [p.a, p.b])]).size).toBe(request.quantities[0]!.values.length)
}

const value = fc.oneof(fc.integer({ min: 0, max: 12 }), fc.double({ min: 0, max: 10, noNaN: true }))
const lots = (quantities: number) => fc.integer({ min: 2, max: 10 }).chain(n => fc.record({
  columns: fc.array(fc.array(value, { minLength: n, maxLength: n }), { minLength: quantities, maxLength: quantities }),
  limit: fc.option(fc.integer({ min: 1, max: 8 }), { nil: undefined }),
  leftOverCost: fc.option(fc.integer({ min: 0, max: 5 }), { nil: undefined }),
  sideOf: fc.option(fc.array(fc.constantFrom<0 | 1>(0, 1), { minLength: n, maxLength: n }), { nil: undefined }),
}))

type Drawn = typeof lots extends (q: number) => fc.Arbitrary<infer T> ? T : never
const requestOf = ({ columns, limit, leftOverCost, sideOf }: Drawn, sided: boolean): PairRequest => ({
  quantities: columns.map((values, k) => ({ name: `q${k}`, values, weight: k + 1, ...(limit !== undefined && { limit }) })),
  ...(leftOverCost !== undefined && { leftOverCost }), ...(sided && sideOf && { sideOf }),
})

describe('pairs from a lot', () => {
  test('one quantity: as cheap as the cheapest of all pairings, up to ten parts', () => {
    fc.assert(fc.property(lots(1), drawn => expectOptimal(requestOf(drawn, false))), { numRuns: 150 })
  })

  test('several quantities: as cheap as the cheapest of all pairings, up to ten parts', () => {
    fc.assert(fc.property(lots(2), drawn => expectOptimal(requestOf(drawn, false))), { numRuns: 300 })
    fc.assert(fc.property(lots(3), drawn => expectOptimal(requestOf(drawn, false))), { numRuns: 150 })
  })

  test('one of each side: as cheap as the cheapest of all pairings', () => {
    fc.assert(fc.property(lots(1), drawn => expectOptimal(requestOf(drawn, true))), { numRuns: 150 })
    fc.assert(fc.property(lots(2), drawn => expectOptimal(requestOf(drawn, true))), { numRuns: 150 })
  })

  test.each([1, 2, 3, 4, 5, 6])('hundreds of parts, many alike, seed %i: the proof over all pairs holds', seed => {
    const random = new SeededRandom(seed)
    const values = (): number[] => Array.from({ length: 301 }, () => Math.floor(random.next() * (seed % 2 ? 1e6 : 12)))
    const got = matchPairs({ quantities: [{ name: 'a', values: values(), weight: 1 }, { name: 'b', values: values(), weight: 1 }] })
    expect(got.leftOver).toHaveLength(1)
    expect(got.pairs).toHaveLength(150)
  })

  test.each([['plain', 2000, 1e9], ['an odd one', 2001, 1e9], ['readings of few digits', 2000, 12]])(
    '2,000 parts by three quantities, %s, proven the cheapest in under 5 s of this processor', (_, n, levels) => {
      const random = new SeededRandom(7)
      const level = (): number => Math.floor((random.next() + random.next() + random.next()) * levels) / levels
      const quantities = ['gain', 'vbe', 'leakage']
        .map(name => ({ name, values: Array.from({ length: n }, level), weight: 1 }))
      const before = process.cpuUsage()
      const got = matchPairs({ quantities })
      const { user, system } = process.cpuUsage(before)
      const seconds = (user + system) / 1e6
      console.log(`${n} parts: ${seconds.toFixed(2)} s, ${got.rounds} rounds, gap at most ${got.gapAtMost.toExponential(1)}`)
      expect(got.leftOver).toHaveLength(n % 2)
      expect(got.gapAtMost).toBeLessThan(1e-4 * got.distance)
      expect(seconds).toBeLessThan(5)
    }, 60_000)

  test('the published way for one quantity: eight resistors (brute force of all 105 pairings, computed independently)', () => {
    const values = [101.2, 99.8, 100.4, 100.1, 99.1, 101.0, 100.9, 99.3]
    const got = matchPairs({ quantities: [{ name: 'resistance', values, weight: 1 }] })
    expect(got.distance).toBeCloseTo(1.2, 9)
    expect(got.pairs.map(p => [p.a, p.b]).sort()).toEqual([[0, 5], [1, 3], [2, 6], [4, 7]])
  })

  test('a limit that equals the difference allows the pair; one below it does not', () => {
    const quantities = (limit: number) => [{ name: 'vf', values: [0.7, 0.71], weight: 1, limit }]
    expect(matchPairs({ quantities: quantities(0.01) }).pairs).toHaveLength(1)
    expect(matchPairs({ quantities: quantities(0.0099) }).leftOver).toEqual([0, 1])
  })

  test('one far outlier does not blur the pairs of the rest', () => {
    const random = new SeededRandom(4)
    const values = Array.from({ length: 200 }, (_, i) => (i === 0 ? 1e6 : random.next()))
    const got = matchPairs({ quantities: [{ name: 'a', values, weight: 1 }, { name: 'b', values: values.map(() => random.next()), weight: 1 }] })
    expect(got.gapAtMost).toBeLessThan(1e-4)
    expect(got.leftOver).toEqual([])
  })

  test('a part left over at a price: far ones stay over, near ones pair', () => {
    const values = [1, 1.1, 5, 9]
    const got = matchPairs({ quantities: [{ name: 'a', values, weight: 1 }, { name: 'b', values, weight: 1 }], leftOverCost: 1 })
    expect(got.pairs.map(p => [p.a, p.b])).toEqual([[0, 1]])
    expect(got.leftOver).toEqual([2, 3])
  })
})
