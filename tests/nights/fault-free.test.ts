/**
 * Nights on which nothing is wrong: no trip, no drop, no sound part condemned, nothing kept back. Twenty-five of them in every
 * test; `NIGHTS=100 npx vitest run tests/nights/fault-free.test.ts` runs a hundred.
 */
import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { badNight } from './bad-night.ts'
import { breaches } from './invariants.ts'

const count = Number(process.env['NIGHTS'] ?? 25)
const seeds = Array.from({ length: count }, (_, i) => i + 1)

describe('a night without a fault', () => {
  it.each(seeds)('rack %i: done, no trip, no part dropped, no warning', async seed => {
    // One to three cans; a third of them stale.
    const outcome = await badNight({ seed, scenario: scenarioHealthyRack(1 + seed % 3, seed) })
    expect(await breaches(outcome)).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(outcome.events.filter(({ severity }) => severity !== 'info').map(({ kind, text }) => `${kind}: ${text}`)).toEqual([])
    const results = await outcome.bench.store.results(outcome.run.id)
    expect(results).toHaveLength(1 + seed % 3)
    // A third of rated voltage does not form a stale part back, so its capacitance may still read high.
    for (const { criteria } of results) {
      expect(criteria.find(({ name }) => name === 'leakage')?.grade).toBe('accept')
    }
    expect(outcome.endedAtMs / 1000).toBeLessThan(outcome.plan.longestS + 60)
  })
})
