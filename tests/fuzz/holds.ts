/**
 * Properties over many inputs. A few hundred in `npm test`, as many as asked for with `npm run fuzz`; a failing
 * one prints its seed and path, with which it replays.
 */
import { appendFileSync } from 'node:fs'
import fc from 'fast-check'
import { isBenchError } from '../../src/base/errors.ts'

const { FUZZ_COUNT, FUZZ_SEED, FUZZ_PATH, FUZZ_REPORT } = process.env
const count = Number(FUZZ_COUNT ?? 200)
const seed = Number(FUZZ_SEED ?? 1974)
/** No input may hold up the daemon for longer. Far above what any takes; a shared machine is slow at times. */
const slowestMs = 3000

/** Holds `check` against many inputs, each of which must come through in its time. `kind` names the report. */
export async function holds<T>(
  kind: string, inputs: fc.Arbitrary<T>, check: (input: T) => void | Promise<void>,
): Promise<void> {
  let slowest = 0
  let tried = 0
  const begun = performance.now()
  const property = fc.asyncProperty(inputs, async input => {
    const from = performance.now()
    await check(input)
    const tookMs = performance.now() - from
    tried++
    slowest = Math.max(slowest, tookMs)
    if (tookMs > slowestMs) throw new Error(`took ${Math.round(tookMs)} ms`)
  })
  try {
    await fc.assert(property, { numRuns: count, seed, ...(FUZZ_PATH ? { path: FUZZ_PATH } : {}) })
  } finally {
    const wallS = (performance.now() - begun) / 1000
    const told = { kind, inputs: tried, wallS: Math.round(wallS * 10) / 10, slowestMs: Math.round(slowest) }
    if (FUZZ_REPORT) appendFileSync(FUZZ_REPORT, `${JSON.stringify(told)}\n`)
  }
}

/** What `work` gives, or the BenchError it ends with; anything else thrown is a finding. */
export function benchErrorOr<T>(work: () => T): T | Error {
  try {
    return work()
  } catch (error) {
    if (isBenchError(error)) return error
    throw error
  }
}

export async function settledWell<T>(work: Promise<T>): Promise<T | Error> {
  try {
    return await work
  } catch (error) {
    if (isBenchError(error)) return error
    throw error
  }
}
