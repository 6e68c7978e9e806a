/**
 * How long a night takes in virtual time: the real stack (sessions, keeper, drivers, supervisor, sequence,
 * store with chain and levels) and the whole simulated bench in this process.
 */
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { performance } from 'node:perf_hooks'
import { setFlagsFromString } from 'node:v8'
import { runInNewContext } from 'node:vm'
import { packageFile } from '../src/base/paths.ts'
import { scenarioHealthyRack } from '../mocks/bench/scenarios.ts'
import { virtualBench } from './virtual-bench.ts'

setFlagsFromString('--expose-gc')
const collect = runInNewContext('gc') as () => void
const halfHourMs = 1_800_000

export interface NightLoad {
  readonly positions: number
  /** Soak at target. Climb, formal readings and the dead end take some four and a half hours more. */
  readonly soakS: number
  /** Every position is read once in this time, all night. */
  readonly sweepMs?: number
  readonly seed?: number
}

export interface NightFigures {
  readonly positions: number
  readonly hours: number
  /** Wall time from the start of the run to its end. */
  readonly seconds: number
  readonly readings: number
  /** Resident before the night and, seen each half hour of bench time, at most. */
  readonly rssStartMb: number
  readonly rssMostMb: number
  /** Used heap after a collection: half way through the night, and at its end. */
  readonly heapMiddleMb: number
  readonly heapEndMb: number
}

/**
 * Every position read each 2.5 s all night, the quick cadence of the bench file's defaults. The bus is read
 * each 100 ms while it moves and each second while it stands, as the defaults are. The sense meter stands on
 * 60 Hz mains: at 50 Hz the plan refuses 48 positions in 2.5 s. Throws unless the run ends `done` with a
 * result for every part.
 */
export async function measureNight(load: NightLoad): Promise<NightFigures> {
  const { positions, soakS, sweepMs = 2500, seed = 48 } = load
  const folder = mkdtempSync(join(tmpdir(), 'night-'))
  try {
    const scenario = {
      ...scenarioHealthyRack(positions, seed), cadence: { sweepMs, sweepQuietMs: sweepMs },
    }
    const bench = await virtualBench(scenario, seed, {
      storePath: join(folder, 'record.db'), ownProfiles: profilesAt60Hz(join(folder, 'profiles')),
    })
    const memory = watchMemory(bench.clock)
    const startMs = performance.now()
    const startBenchMs = bench.clock.monotonicMs()
    const run = await bench.night({ parameters: { soakS } })
    const seconds = (performance.now() - startMs) / 1000
    memory.stop()
    const results = await bench.store.results(run.id)
    if (run.state !== 'done' || results.length !== positions) {
      throw new Error(`the night ended ${run.state} with ${results.length} of ${positions} results`)
    }
    const readings = await countReadings(bench.store, run.id)
    const benchHours = (bench.clock.monotonicMs() - startBenchMs) / 3600e3
    await bench.clock.run(bench.daemon.close())
    return { positions, hours: benchHours, seconds, readings, ...memory.figures() }
  } finally {
    rmSync(folder, { recursive: true, force: true })
  }
}

function profilesAt60Hz(folder: string): string {
  const name = join('instruments', 'multimeter-6d-a.yaml')
  mkdirSync(join(folder, 'instruments'), { recursive: true })
  const text = readFileSync(packageFile('profiles', name), 'utf8')
  writeFileSync(join(folder, name), text.replace('mainsHz: 50', 'mainsHz: 60'))
  return folder
}

type VirtualNight = Awaited<ReturnType<typeof virtualBench>>

function watchMemory(clock: VirtualNight['clock']) {
  const rss: number[] = []
  const heap: number[] = []
  const look = (): void => {
    collect()
    const { rss: resident, heapUsed } = process.memoryUsage()
    rss.push(resident / 2 ** 20)
    heap.push(heapUsed / 2 ** 20)
  }
  const lookAgain = (): void => { look(); cancel = clock.after(halfHourMs, lookAgain) }
  look()
  let cancel = clock.after(halfHourMs, lookAgain)
  return {
    stop: () => { cancel(); look() },
    figures: () => ({
      rssStartMb: rss[0]!, rssMostMb: Math.max(...rss),
      heapMiddleMb: heap[heap.length >> 1]!, heapEndMb: heap.at(-1)!,
    }),
  }
}

async function countReadings(store: VirtualNight['store'], runId: string): Promise<number> {
  let count = 0
  for (const { index } of await store.channels(runId)) {
    for (const bucket of await store.levels(runId, index, 1000)) count += bucket.count
  }
  return count
}
