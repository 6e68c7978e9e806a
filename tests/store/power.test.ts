import { spawn } from 'node:child_process'
import { once } from 'node:events'
import { copyFileSync, readFileSync, statSync, truncateSync, writeFileSync } from 'node:fs'
import { createInterface } from 'node:readline'
import { fileURLToPath } from 'node:url'
import Database from 'better-sqlite3'
import { describe, expect, it } from 'vitest'
import { builtEntry } from '../../src/base/paths.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { openWorkerStore } from '../../src/store/remote.ts'
import { sampleChannels, sampleEvent, sampleReadings, sampleRun } from './sample.ts'
import { temporaryFolder } from './temporary.ts'

const folder = temporaryFolder()
const channels = sampleChannels(3)

/**
 * How many batches of ten the run has, seen through a new store; the chain must hold and the batches be
 * whole.
 */
async function batchesIn(path: string): Promise<number> {
  const store = openInlineStore(path)
  expect(await store.verifyChain('R1')).toBeNull()
  const lengths =
    await Promise.all(channels.map(async ({ index }) => (await store.series('R1', index)).atMs.length))
  const buckets = await Promise.all(channels.map(({ index }) => store.levels('R1', index, 50)))
  await store.close()
  expect(buckets.map(list => list.reduce((sum, { count }) => sum + count, 0))).toEqual(lengths)
  const readings = lengths.reduce((sum, length) => sum + length, 0)
  expect(readings % 10).toBe(0)
  return readings / 10
}

/** `before` with some pages of `after` in it: whole, torn in the middle or not at all; perhaps short of its end. */
function partlyWritten(before: Buffer, after: Buffer, random: SeededRandom): Buffer {
  const pageBytes = after.readUInt16BE(16)
  const bytes = Buffer.alloc(Math.max(before.length, random.integer(0, after.length)))
  before.copy(bytes)
  for (let at = 0; at < bytes.length; at += pageBytes) {
    const written = random.pick([0, 512 * random.integer(0, pageBytes / 512), pageBytes])
    after.copy(bytes, at, at, Math.min(at + written, bytes.length))
  }
  return bytes
}

describe('after a power cut', () => {
  it.each([['inline', openInlineStore], ['worker', openWorkerStore]] as const)(
    'everything is there that the %s store had said was durable', async (name, open) => {
      const path = folder(`${name}.db`)
      const store = await open(path)
      await store.createRun(sampleRun(), channels)
      for (let i = 0; i < 200; i++) {
        await store.appendReadings('R1', sampleReadings(channels, i * 10, 10))
        if (i % 67 !== 0) continue
        const { seq } = await store.appendEvent('R1', sampleEvent({ text: `after ${i}` }))
        const copy = folder(`${name}-${i}.db`)
        copyFileSync(path, copy)
        copyFileSync(`${path}-wal`, `${copy}-wal`)
        expect(await batchesIn(copy)).toBe(i + 1)
        const reopened = openInlineStore(copy)
        expect(await reopened.events('R1', seq)).toMatchObject([{ text: `after ${i}` }])
        expect(await reopened.interruptRunning(1)).toEqual(['R1'])
        await reopened.close()
      }
      await store.close()
    })

  it('what was being written is there whole or not at all, wherever the log was torn', async () => {
    const path = folder('torn.db')
    const store = openInlineStore(path)
    await store.createRun(sampleRun(), channels)
    const durableBytes: number[] = []
    for (let i = 0; i < 60; i++) {
      await store.appendReadings('R1', sampleReadings(channels, i * 10, 10))
      durableBytes.push(statSync(`${path}-wal`).size)
    }
    const random = new SeededRandom(7)
    const firstBytes = durableBytes[0]!
    for (let cut = 0; cut < 40; cut++) {
      const bytes = random.integer(firstBytes, durableBytes.at(-1)!)
      const copy = folder(`torn-${cut}.db`)
      copyFileSync(path, copy)
      copyFileSync(`${path}-wal`, `${copy}-wal`)
      truncateSync(`${copy}-wal`, bytes)
      expect(await batchesIn(copy), `torn at byte ${bytes}`)
        .toBe(durableBytes.filter(size => size <= bytes).length)
    }
    await store.close()
  })

  it('everything is there when the log was being copied into the record, whatever of that reached the disk', async () => {
    const path = folder('copied.db')
    const store = openInlineStore(path)
    await store.createRun(sampleRun(), channels)
    for (let i = 0; i < 60; i++) await store.appendReadings('R1', sampleReadings(channels, i * 10, 10))
    const { seq } = await store.appendEvent('R1', sampleEvent({ text: 'last' }))
    const before = readFileSync(path)
    const log = readFileSync(`${path}-wal`)
    const other = new Database(path)
    other.pragma('wal_checkpoint(FULL)')
    const after = readFileSync(path)
    other.close()
    expect(after.equals(before)).toBe(false)
    const random = new SeededRandom(13)
    for (let round = 0; round < 40; round++) {
      const copy = folder(`copied-${round}.db`)
      writeFileSync(copy, partlyWritten(before, after, random))
      writeFileSync(`${copy}-wal`, log)
      expect(await batchesIn(copy), `round ${round}`).toBe(60)
      const db = new Database(copy)
      expect(db.pragma('integrity_check', { simple: true })).toBe('ok')
      expect(db.prepare('SELECT text FROM events WHERE seq = ?').pluck().get(seq)).toBe('last')
      db.close()
    }
    await store.close()
  })

  it('every batch is there that a process had acknowledged when it was killed', async () => {
    const random = new SeededRandom(11)
    for (let round = 0; round < 3; round++) {
      const path = folder(`killed-${round}.db`)
      const script = fileURLToPath(new URL('./writer.mjs', import.meta.url))
      const child = spawn(process.execPath, [script, builtEntry('src/store/remote'), path], {
        stdio: ['ignore', 'pipe', 'inherit']
      })
      const exited = once(child, 'exit')
      const enough = random.integer(5, 300)
      let acknowledged = 0
      for await (const line of createInterface({ input: child.stdout })) {
        acknowledged = Number(line)
        if (acknowledged === enough) child.kill('SIGKILL')
      }
      expect((await exited)[1]).toBe('SIGKILL')
      expect(acknowledged).toBeGreaterThanOrEqual(enough)
      const there = await batchesIn(path)
      expect(there).toBeGreaterThanOrEqual(acknowledged)
      expect(there).toBeLessThanOrEqual(acknowledged + 1)
    }
  })

  it('leaves no log behind when it is closed in peace', async () => {
    const path = folder('peace.db')
    const store = await openWorkerStore(path)
    await store.createRun(sampleRun(), channels)
    await store.close()
    expect(() => readFileSync(`${path}-wal`)).toThrow('ENOENT')
  })
})
