import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { distanceTable, distanceWithin, type MatchQuantity } from '../../../src/analysis/matching/distance.ts'
import { matchSets } from '../../../src/analysis/matching/sets.ts'
import { SeededRandom } from '../../../src/base/random.ts'

/** Cheapest division of all: fewest left over first where leaving over has no price. */
function bruteForce(quantities: MatchQuantity[], size: number, leftOverCost?: number): { left: number; distance: number } {
  const table = distanceTable(quantities)
  let best = { left: Infinity, distance: Infinity }
  const better = (left: number, distance: number): boolean => leftOverCost === undefined
    ? left < best.left || (left === best.left && distance < best.distance)
    : !(best.left < Infinity) || distance + left * leftOverCost < best.distance + best.left * leftOverCost
  const go = (rest: number[], left: number, distance: number): void => {
    const [a, ...others] = rest
    if (a === undefined) { if (better(left, distance)) best = { left, distance }; return }
    go(others, left + 1, distance)
    for (const set of choose(others, size - 1)) {
      const d = distanceWithin(table, [a, ...set])
      if (d < Infinity) go(others.filter(o => !set.includes(o)), left, distance + d)
    }
  }
  go(Array.from({ length: table.n }, (_, i) => i), 0, 0)
  return best
}

function choose(from: number[], count: number): number[][] {
  if (count === 0) return [[]]
  return from.flatMap((first, i) => choose(from.slice(i + 1), count - 1).map(rest => [first, ...rest]))
}

const value = fc.oneof(fc.integer({ min: 0, max: 12 }), fc.double({ min: 0, max: 10, noNaN: true }))
const drawn = (columns: number) => fc.record({ n: fc.integer({ min: 4, max: 9 }), size: fc.constantFrom(3, 4) }).chain(({ n, size }) =>
  fc.record({
    size: fc.constant(size),
    quantities: fc.array(fc.array(value, { minLength: n, maxLength: n }), { minLength: columns, maxLength: columns })
      .chain(all => fc.option(fc.integer({ min: 2, max: 9 }), { nil: undefined }).map(limit =>
        all.map((values, k) => ({ name: `q${k}`, values, weight: 1 + k, ...(limit !== undefined && { limit }) })))),
    leftOverCost: fc.option(fc.integer({ min: 0, max: 8 }), { nil: undefined }),
  }))

describe('sets of N from a lot', () => {
  test('one quantity: the cheapest division of all, up to nine parts', () => {
    fc.assert(fc.property(drawn(1), ({ quantities, size, leftOverCost }) => {
      const best = bruteForce(quantities, size, leftOverCost)
      const got = matchSets({ quantities, size, ...(leftOverCost !== undefined && { leftOverCost }) })
      if (leftOverCost === undefined) expect(got.leftOver).toHaveLength(best.left)
      expect(got.cost).toBeCloseTo(best.distance + best.left * (leftOverCost ?? 0), 9)
      expect(got.optimal).toBe(true)
    }), { numRuns: 150 })
  })

  test('several quantities: the bound is never above the cheapest of all, and what was found never below it', () => {
    let exact = 0
    let compared = 0
    fc.assert(fc.property(drawn(2), ({ quantities, size, leftOverCost }) => {
      const best = bruteForce(quantities, size, leftOverCost)
      const got = matchSets({ quantities, size, ...(leftOverCost !== undefined && { leftOverCost }) })
      const least = best.distance + best.left * (leftOverCost ?? 0)
      expect(got.leftOver.length % size).toBe(quantities[0]!.values.length % size)
      if (leftOverCost === undefined && got.leftOver.length > best.left) return
      compared++
      expect(got.costAtLeast).toBeLessThanOrEqual(least + 1e-9)
      expect(got.cost).toBeGreaterThanOrEqual(least - 1e-9)
      if (got.cost < least + 1e-9) exact++
    }), { numRuns: 200, seed: 11 })
    console.log(`${exact} of ${compared} small divisions are the cheapest there are`)
    expect(exact / compared).toBeGreaterThan(0.7)
  })

  test('limits hold within every set, and 200 parts go into quads of one kind or stay over', () => {
    const random = new SeededRandom(5)
    const values = (): number[] => Array.from({ length: 200 }, () => 100 + 20 * random.next())
    const quantities = [
      { name: 'gain', values: values(), weight: 1, limit: 0.05, scale: 'ratio' as const },
      { name: 'vbe', values: values(), weight: 0.1, limit: 4 }]
    const got = matchSets({ quantities, size: 4 })
    expect(4 * got.sets.length + got.leftOver.length).toBe(200)
    for (const { parts } of got.sets) {
      for (const { values: all, scale } of quantities) {
        const [low, high] = [Math.min(...parts.map(p => all[p]!)), Math.max(...parts.map(p => all[p]!))]
        if (scale) expect(high / low).toBeLessThanOrEqual(1.05 + 1e-9)
        else expect(high - low).toBeLessThanOrEqual(4 + 1e-9)
      }
    }
    expect(got.sets.length).toBeGreaterThan(20)
  })

  test('500 parts by two quantities: sets of three to six cost at most 1.35 times a bound that no division beats', () => {
    const random = new SeededRandom(8)
    const values = (): number[] => Array.from({ length: 500 }, () => random.normal())
    const quantities = ['gain', 'vbe'].map(name => ({ name, values: values(), weight: 1 }))
    for (const size of [3, 4, 5, 6]) {
      const got = matchSets({ quantities, size })
      console.log(`500 parts in sets of ${size}: cost ${got.cost.toFixed(2)}, at least ${got.costAtLeast.toFixed(2)}`)
      expect(got.leftOver).toHaveLength(500 % size)
      expect(got.costAtLeast).toBeLessThanOrEqual(got.cost)
      expect(got.costAtLeast).toBeGreaterThan(got.cost / 1.35)
    }
  })

  test('requests that cannot be are refused', () => {
    const quantities = [{ name: 'a', values: [1, 2, 3], weight: 1 }]
    expect(() => matchSets({ quantities, size: 2 })).toThrow(/3 or more/)
    expect(() => matchSets({ quantities, size: 4 })).toThrow(/as many parts/)
    expect(() => matchSets({ quantities: [{ name: 'a', values: [1, -2, 3], weight: 1, scale: 'ratio' }], size: 3 })).toThrow(/above 0/)
  })
})
