/** What the record costs: against bare better-sqlite3 inserting the same columns in the same batches. */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { performance } from 'node:perf_hooks'
import Database from 'better-sqlite3'
import type { Channel, Quality, Reading } from '../src/schema/reading.ts'
import { qualities } from '../src/schema/reading.ts'
import type { Store } from '../src/schema/store.ts'
import { openInlineStore } from '../src/store/inline.ts'
import { openWorkerStore } from '../src/store/remote.ts'

export interface RecorderLoad {
  readonly channels: number
  /** Readings in one batch, that is in one durable transaction. */
  readonly batch: number
  /** Readings in one round. */
  readonly readings: number
  readonly rounds: number
}

const usualLoad: RecorderLoad = { channels: 100, batch: 1000, readings: 200_000, rounds: 5 }

export interface RecorderFigures {
  readonly bareRowsPerS: number
  /** Chain and levels included, from Reading objects to durable. */
  readonly storeRowsPerS: number
  /** Median over rounds of store to bare, each pair measured back to back. */
  readonly ratio: number
}

/** Rounds of bare, then store, then bare …: what disturbs the machine disturbs both. */
export async function measureRecorder(load: RecorderLoad = usualLoad): Promise<RecorderFigures> {
  const channels = channelsOf(load.channels)
  const bare: number[] = []
  const store: number[] = []
  for (let round = -1; round < load.rounds; round++) {
    const batches = batchesOf(channels, load)
    const pair = await inFolder(async folder => [
      bareRowsPerS(join(folder, 'bare.db'), batches),
      await storeRowsPerS(openInlineStore(join(folder, 'store.db')), channels, batches),
    ])
    if (round < 0) continue // the first warms the compiler
    bare.push(pair[0]!)
    store.push(pair[1]!)
  }
  return {
    bareRowsPerS: median(bare),
    storeRowsPerS: median(store),
    ratio: median(store.map((rate, i) => rate / bare[i]!)),
  }
}

/** Rows a second through the worker thread: what the main thread sees when it awaits each batch. */
export async function measureWorkerRecorder(
  load: RecorderLoad = usualLoad,
): Promise<{ workerRowsPerS: number }> {
  const channels = channelsOf(load.channels)
  const rates: number[] = []
  for (let round = 0; round < load.rounds; round++) {
    rates.push(await inFolder(async folder =>
      storeRowsPerS(await openWorkerStore(join(folder, 'store.db')), channels, batchesOf(channels, load))))
  }
  return { workerRowsPerS: median(rates) }
}

export interface OpenNightFigures {
  readonly readings: number
  readonly buckets: number
  /** One channel at 1000 points, median over channels. */
  readonly oneChannelMs: number
  /** Every channel at 1000 points, one after the other. */
  readonly allChannelsMs: number
  /** Every reading of one channel. */
  readonly seriesMs: number
}

/**
 * A night of 100 positions: ten hours at one reading a second each, opened by a store that has just started.
 */
export async function measureOpenNight(channelCount = 100, seconds = 36_000): Promise<OpenNightFigures> {
  const channels = channelsOf(channelCount)
  return inFolder(async folder => {
    const path = join(folder, 'night.db')
    const load = {
      channels: channelCount, batch: 50 * channelCount, readings: channelCount * seconds, rounds: 1
    }
    await storeRowsPerS(openInlineStore(path), channels, batchesOf(channels, load))
    const store = openInlineStore(path)
    const eachMs: number[] = []
    let buckets = 0
    for (const { index } of channels) {
      const begin = performance.now()
      buckets += (await store.levels('night', index, 1000)).length
      eachMs.push(performance.now() - begin)
    }
    const begin = performance.now()
    await store.series('night', 0)
    const seriesMs = performance.now() - begin
    await store.close()
    const allChannelsMs = eachMs.reduce((sum, ms) => sum + ms, 0)
    return { readings: load.readings, buckets, oneChannelMs: median(eachMs), allChannelsMs, seriesMs }
  })
}

function bareRowsPerS(path: string, batches: Iterable<readonly Reading[]>): number {
  const db = new Database(path)
  db.pragma('journal_mode = WAL')
  db.pragma('synchronous = FULL')
  db.exec(
    'CREATE TABLE readings (run INTEGER, channel INTEGER, at_ms REAL, value REAL, u REAL, quality INTEGER)'
  )
  const insert = db.prepare('INSERT INTO readings VALUES (?, ?, ?, ?, ?, ?)')
  const append = db.transaction((batch: readonly Reading[]) => {
    for (const r of batch) insert.run(1, r.channel.index, r.atMs, r.value, r.u, qualityIndex.get(r.quality))
  })
  let rows = 0
  let spentMs = 0
  for (const batch of batches) {
    const begin = performance.now()
    append(batch)
    spentMs += performance.now() - begin
    rows += batch.length
  }
  db.close()
  return rows / spentMs * 1000
}

async function storeRowsPerS(
  store: Store, channels: readonly Channel[], batches: Iterable<readonly Reading[]>,
): Promise<number> {
  await store.createRun({
    id: 'night', sequence: 'leakage-soak', bench: 'benchmark', state: 'running', startedWallMs: 0,
    endedWallMs: null,
    person: 'nobody', use: 'unattended', software: '0', setup: {},
  }, channels)
  let rows = 0
  let spentMs = 0
  for (const batch of batches) {
    const begin = performance.now()
    await store.appendReadings('night', batch)
    spentMs += performance.now() - begin
    rows += batch.length
  }
  await store.close()
  return rows / spentMs * 1000
}

const qualityIndex = new Map<Quality, number>(qualities.map((quality, index) => [quality, index]))

const channelsOf = (count: number): Channel[] => Array.from({ length: count }, (_, index) => ({
  index, name: `P${index}.current`, quantity: 'current', unit: 'A', position: `P${index}`,
}))

/** Made as they are asked for, outside the timed part. Can be gone through more than once. */
function batchesOf(channels: readonly Channel[], load: RecorderLoad): Iterable<Reading[]> {
  return {
    *[Symbol.iterator]() {
      for (let from = 0; from < load.readings; from += load.batch) {
        yield Array.from({ length: Math.min(load.batch, load.readings - from) }, (_, i) => {
          const order = from + i
          const atMs = 1000 * (order / channels.length) + 0.125
          const value = 1e-5 * (1 + 0.1 * Math.sin(order))
          return {
            channel: channels[order % channels.length]!, atMs, value, u: 1.3e-8, quality: 'good' as const
          }
        })
      }
    },
  }
}

async function inFolder<T>(work: (folder: string) => Promise<T>): Promise<T> {
  const folder = mkdtempSync(join(tmpdir(), 'recorder-'))
  try { return await work(folder) } finally { rmSync(folder, { recursive: true, force: true }) }
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b)
  const middle = sorted.length >> 1
  return sorted.length % 2 === 1 ? sorted[middle]! : (sorted[middle - 1]! + sorted[middle]!) / 2
}
