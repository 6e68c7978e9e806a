/**
 * The truth study of proofs: simulated units with hidden figures, each on a stand of its own, held against what
 * they really do. `npm run unit-truth -- --count 20 --seed 1`; `--from N` begins at that index, `--jobs` runs so
 * many processes, `--json` prints one object as the last line, `--figures` every figure with its truth,
 * unit by unit as they come. Exit code 1 when a test fails.
 */
import { fork } from 'node:child_process'
import { availableParallelism } from 'node:os'
import { fileURLToPath } from 'node:url'
import { parseArgs } from 'node:util'
import { scoreUnits, unitFailures, unitLines } from './truth-units/score.ts'
import { proveOne, type ProvenUnit } from './truth-units/session.ts'

interface Slice { readonly seed: number; readonly indexes: readonly number[] }

if (process.send) {
  process.once('message', ({ seed, indexes }: Slice) => {
    void (async () => {
      for (const index of indexes) process.send!(await proveOne(seed, index))
      process.disconnect()
    })()
  })
} else {
  await main()
}

async function main(): Promise<void> {
  const { values: asked } = parseArgs({ options: {
    count: { type: 'string', default: '20' }, seed: { type: 'string', default: '1' },
    from: { type: 'string', default: '0' }, jobs: { type: 'string', default: String(availableParallelism()) },
    json: { type: 'boolean', default: false }, figures: { type: 'boolean', default: false },
  } })
  const [count, seed, from, jobs] = [asked.count, asked.seed, asked.from, asked.jobs].map(Number) as [number, number, number, number]
  const startedMs = performance.now()
  const indexes = Array.from({ length: count }, (_, i) => from + i)
  const slices = Array.from({ length: jobs }, (_, job) => indexes.filter((__, i) => i % jobs === job))
  const told = (unit: ProvenUnit): void => { if (asked.figures) for (const line of figureLines(unit)) console.log(line) }
  const all = (await Promise.all(slices.map(mine => sliceOf({ seed, indexes: mine }, told)))).flat()
  const score = scoreUnits(all)
  console.log(`seed ${seed}, units ${from} to ${from + count - 1}, ${((performance.now() - startedMs) / 1000).toFixed(0)} s`)
  for (const line of unitLines(score)) console.log(line)
  const failed = unitFailures(score)
  console.log(failed.length === 0 ? 'passed' : `FAILED: ${failed.join(', ')}`)
  if (failed.length > 0) process.exitCode = 1
  if (asked.json) console.log(JSON.stringify(score))
}

function figureLines({ index, kind, figures }: ProvenUnit): string[] {
  return figures.map(({ quantity, value, u, bound, truth }) => [
    index, kind, quantity, bound ?? '', value.toPrecision(6), `u ${u.toPrecision(2)}`, `truth ${truth.toPrecision(6)}`,
    `z ${((value - truth) / u).toFixed(2)}`,
  ].join(' '))
}

function sliceOf(slice: Slice, told: (unit: ProvenUnit) => void): Promise<ProvenUnit[]> {
  return new Promise((resolve, reject) => {
    if (slice.indexes.length === 0) { resolve([]); return }
    const found: ProvenUnit[] = []
    const child = fork(fileURLToPath(import.meta.url), { serialization: 'advanced' })
    child.on('message', message => {
      found.push(message as ProvenUnit)
      told(message as ProvenUnit)
    })
    child.once('error', reject)
    child.once('exit', code => {
      if (found.length === slice.indexes.length) resolve(found)
      else reject(new Error(`a slice ended with code ${code} after ${found.length} of ${slice.indexes.length}`))
    })
    child.send(slice)
  })
}
