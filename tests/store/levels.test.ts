import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Quality, Reading } from '../../src/schema/reading.ts'
import type { Bucket, Store } from '../../src/schema/store.ts'
import { inlineStore, openInlineStore } from '../../src/store/inline.ts'
import { StoreCore } from '../../src/store/core.ts'
import { openDatabase } from '../../src/store/open.ts'
import { sampleChannels, sampleReadings, sampleRun } from './sample.ts'
import { temporaryFolder } from './temporary.ts'

const folder = temporaryFolder()

/** The same buckets from the readings alone: as many in each as `found` says, in order. */
function expected(readings: readonly Reading[], found: readonly Bucket[]): Bucket[] {
  let at = 0
  return found.map(({ count }) => {
    const rows = readings.slice(at, at += count)
    const good =
      rows.filter(row => row.quality === 'good' && Number.isFinite(row.value)).map(row => row.value)
    const mean = good.length === 0 ? NaN : good.reduce((sum, value) => sum + value, 0) / good.length
    return {
      atMs: rows[0]!.atMs, min: good.length ? Math.min(...good) : NaN, mean,
      max: good.length ? Math.max(...good) : NaN,
      count: rows.length, bad: rows.length - good.length,
    }
  })
}

function expectSame(found: readonly Bucket[], readings: readonly Reading[]): void {
  const wanted = expected(readings, found)
  expect(found.reduce((sum, bucket) => sum + bucket.count, 0)).toBe(readings.length)
  found.forEach((bucket, i) => {
    expect({ ...bucket, mean: 0 }).toEqual({ ...wanted[i]!, mean: 0 })
    if (Number.isNaN(wanted[i]!.mean)) expect(bucket.mean).toBeNaN()
    else {
      expect(Math.abs(bucket.mean - wanted[i]!.mean))
        .toBeLessThanOrEqual(1e-12 * Math.abs(wanted[i]!.mean))
    }
  })
}

async function append(store: Store, readings: readonly Reading[], batch: number): Promise<void> {
  for (let i = 0; i < readings.length; i += batch) {
    await store.appendReadings('R1', readings.slice(i, i + batch))
  }
}

describe('levels', () => {
  it('hold every reading once and agree with the readings, whatever is asked for', async () => {
    const channels = sampleChannels(3)
    const from1To = (max: number): fc.Arbitrary<number> => fc.integer({ min: 1, max })
    const shape = fc.record({ readings: fc.nat(20_000), batch: from1To(3000), points: from1To(900) })
    await fc.assert(fc.asyncProperty(shape, async ({ readings, batch, points }) => {
      const store = openInlineStore(':memory:')
      await store.createRun(sampleRun(), channels)
      const all = sampleReadings(channels, 0, readings)
      await append(store, all, Math.max(batch, Math.ceil(readings / 50)))
      for (const { index } of channels) {
        const mine = all.filter(row => row.channel.index === index)
        const found = await store.levels('R1', index, points)
        expect(found.length).toBeLessThanOrEqual(points)
        expect(found.length).toBeGreaterThanOrEqual(Math.floor(Math.min(points / 4, mine.length)))
        expectSame(found, mine)
      }
      await store.close()
    }), { numRuns: 25 })
  })

  it('give each reading its own bucket when there are points enough', async () => {
    const store = openInlineStore(':memory:')
    const channels = sampleChannels(1)
    await store.createRun(sampleRun(), channels)
    await append(store, sampleReadings(channels, 0, 40), 7)
    expect(await store.levels('R1', 0, 40)).toHaveLength(40)
    expect(await store.levels('R1', 0, 39)).toHaveLength(20)
    await store.close()
  })

  it('count what is not good, and show NaN where nothing is', async () => {
    const store = openInlineStore(':memory:')
    const channels = sampleChannels(1)
    await store.createRun(sampleRun(), channels)
    const row =
      (value: number, quality: Quality): Reading => ({ channel: channels[0]!, atMs: 0, value, u: 0, quality })
    await store.appendReadings('R1', [row(9, 'stale'), row(NaN, 'good'), row(2, 'good'), row(4, 'good')])
    expect(await store.levels('R1', 0, 1)).toEqual([{ atMs: 0, min: 2, mean: 3, max: 4, count: 4, bad: 2 }])
    expect(await store.levels('R1', 0, 2)).toEqual([
      { atMs: 0, min: NaN, mean: NaN, max: NaN, count: 2, bad: 2 },
      { atMs: 0, min: 2, mean: 3, max: 4, count: 2, bad: 0 },
    ])
    await store.close()
  })

  it('are empty for a channel without readings, and refuse no points', async () => {
    const store = openInlineStore(':memory:')
    await store.createRun(sampleRun(), sampleChannels(1))
    expect(await store.levels('R1', 0, 10)).toEqual([])
    await expect(store.levels('R1', 0, 0)).rejects.toThrow('at least one point')
    await expect(store.levels('R1', 1, 10)).rejects.toMatchObject({ code: 'NOT_FOUND' })
    await store.close()
  })

  it('come out the same when the program starts anew between any two batches', async () => {
    const channels = sampleChannels(2)
    // A slow channel beside a quick one: its open buckets begin far back.
    const all =
      sampleReadings(channels, 0, 24_000).filter((row, i) => row.channel.index === 0 || i % 33 === 1)
    const dump = async (restart: boolean): Promise<unknown[]> => {
      const path = folder(`restart-${restart}.db`)
      let store = openInlineStore(path)
      await store.createRun(sampleRun(), channels)
      for (let i = 0; i < all.length; i += 457) {
        await store.appendReadings('R1', all.slice(i, i + 457))
        if (restart) { await store.close(); store = openInlineStore(path) }
      }
      await store.close()
      const db = openDatabase(path)
      const rows = db.prepare('SELECT * FROM buckets ORDER BY id').all()
      db.close()
      return rows
    }
    const straight = await dump(false)
    expect(straight.length).toBeGreaterThan(750)
    expect(await dump(true)).toEqual(straight)
  })

  it('are written as buckets close, not found by reading the night', async () => {
    const path = folder('written.db')
    const db = openDatabase(path)
    const store = inlineStore(new StoreCore(path, db))
    const channels = sampleChannels(1)
    await store.createRun(sampleRun(), channels)
    await append(store, sampleReadings(channels, 0, 4096 + 255), 500)
    const perLevel = db.prepare(`SELECT level, count(*) FROM bucket_slabs s JOIN buckets b
      ON b.id >= s.id << 23 AND b.id < (s.id + 1) << 23 GROUP BY level`).raw().all()
    expect(perLevel).toEqual([[1, 271], [2, 16], [3, 1]])
    await store.close()
  })
})
