/**
 * A simulated bench as a process of its own:
 *   node dist/mocks/main.js --seed 7 --scenario pavilion [--realtime] [--serial] [--base-port N] …
 * When it is ready it says so in words to a terminal, and in one JSON line to anything else. It lives until
 * its standard input closes where that is a pipe, and until a signal elsewhere: what a shell runs behind `&`
 * has no input, or none that it may read.
 */
import { fstatSync, readFileSync, writeFileSync } from 'node:fs'
import { parseArgs } from 'node:util'
import type { Scenario } from './bench/scenario.ts'
import { scenarioHealthyRack, scenarioPavilion } from './bench/scenarios.ts'
import { serveBench } from './bench/serve-bench.ts'
import type { BenchFaults } from './bench/sim-bench.ts'

const usage = `usage: main.js [--seed N] [--scenario pavilion | rack-N] [--realtime] [--serial]
               [--faults FILE] [--base-port N] [--wall MS] [--present] [--bench-file FILE]`

function options() {
  const { values } = parseArgs({
    options: {
      seed: { type: 'string', default: '1' }, scenario: { type: 'string', default: 'pavilion' },
      realtime: { type: 'boolean', default: false }, serial: { type: 'boolean', default: false },
      faults: { type: 'string' }, 'base-port': { type: 'string' }, wall: { type: 'string' },
      present: { type: 'boolean', default: false }, 'bench-file': { type: 'string' },
    },
  })
  return values
}

function scenarioOf(name: string, seed: number): Scenario {
  if (name === 'pavilion') return scenarioPavilion(seed)
  const match = /^rack-(\d{1,3})$/.exec(name)
  const count = Number(match?.[1] ?? 0)
  if (count < 1 || count > 479) throw new Error(`no such scenario: ${name}`)
  return scenarioHealthyRack(count, seed)
}

function wholeNumber(text: string, what: string): number {
  if (!/^\d+$/.test(text)) throw new Error(`${what} is a whole number, not ${text}`)
  return Number(text)
}

async function main(): Promise<void> {
  const asked = options()
  const seed = wholeNumber(asked.seed, '--seed')
  const served = await serveBench({
    seed, scenario: scenarioOf(asked.scenario, seed), realtime: asked.realtime, serial: asked.serial,
    wallStartMs: asked.wall === undefined ? Date.now() : wholeNumber(asked.wall, '--wall'),
    ...(asked.faults === undefined ? {} : {
      faults: JSON.parse(readFileSync(asked.faults, 'utf8')) as BenchFaults,
    }),
    ...(asked['base-port'] === undefined ? {} : { basePort: wholeNumber(asked['base-port'], '--base-port') }),
  })
  served.bench.switches.present = asked.present
  const { benchFile, timeUrl, controlUrl } = served
  const parts = served.bench.scenario.parts.map(({ position, id }) => ({
    position, part: id, profile: served.bench.scenario.partProfile,
  }))
  const written = asked['bench-file']
  if (written !== undefined) writeFileSync(written, `${JSON.stringify(benchFile, null, 2)}\n`)
  if (process.stdout.isTTY) {
    const file = written ?? 'not written; --bench-file FILE writes it'
    console.log(`A simulated bench of ${parts.length} parts is ready; Ctrl-C ends it. Bench file: ${file}`)
  } else console.log(JSON.stringify({ benchFile, timeUrl, controlUrl, truthUrl: controlUrl, parts }))
  if (isPipe(0)) endWithInput()
}

/** Whoever started us by a pipe and is gone has closed it. A terminal or an empty input says nothing. */
function isPipe(handle: number): boolean {
  try {
    const kind = fstatSync(handle)
    return kind.isFIFO() || kind.isSocket()
  } catch { return false }
}

function endWithInput(): void {
  process.stdin.resume()
  process.stdin.on('end', () => process.exit(0))
  process.stdin.on('error', () => process.exit(0))
}

main().catch((error: unknown) => {
  console.error(error instanceof Error ? error.message : error)
  console.error(usage)
  process.exitCode = 2
})
