/** How long it takes to match parts into pairs, the cheapest there are. */
import { matchPairs } from '../src/analysis/matching/pairs.ts'
import { SeededRandom } from '../src/base/random.ts'

/** Pairs `parts` simulated parts by three quantities; seconds by the wall. */
export function measureMatching(parts: number): { seconds: number; rounds: number } {
  const random = new SeededRandom(7)
  const quantities = ['gain', 'vbe', 'leakage'].map(name => ({
    name, weight: 1, values: Float64Array.from({ length: parts }, () => random.next() + random.next() + random.next()),
  }))
  const started = process.hrtime.bigint()
  const { rounds } = matchPairs({ quantities })
  return { seconds: Number(process.hrtime.bigint() - started) / 1e9, rounds }
}
