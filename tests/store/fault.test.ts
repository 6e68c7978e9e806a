import { execFileSync } from 'node:child_process'
import {
  chmodSync, closeSync, copyFileSync, mkdirSync, openSync, readFileSync, renameSync, rmSync, statSync, truncateSync, writeFileSync,
  writeSync,
} from 'node:fs'
import { join } from 'node:path'
import Database from 'better-sqlite3'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import type { Store } from '../../src/schema/store.ts'
import { StoreCore } from '../../src/store/core.ts'
import { inlineStore, openInlineStore } from '../../src/store/inline.ts'
import { openDatabase, type Db } from '../../src/store/open.ts'
import { sampleChannels, sampleEvent, sampleReadings, sampleResult, sampleRun } from './sample.ts'
import { temporaryFolder } from './temporary.ts'

const folder = temporaryFolder()
const channels = sampleChannels(3)
let made = 0
let path: string
let db: Db
let store: Store
beforeEach(async () => {
  path = folder(`fault-${made++}.db`)
  db = openDatabase(path, { busyMs: 0 })
  store = inlineStore(new StoreCore(path, db))
  await store.createRun(sampleRun(), channels)
  await store.appendReadings('R1', sampleReadings(channels, 0, 600))
})
afterEach(() => store.close())

const count = (table: string): unknown => db.prepare(`SELECT count(*) FROM ${table}`).pluck().get()

const foreign = 'written to by another program'
const copyOver = (file: string): void => writeFileSync(file, readFileSync(file))
const cutShort = (file: string): void => truncateSync(file, 1000)
const changeByte = (file: string): void => {
  const handle = openSync(file, 'r+')
  writeSync(handle, 'x', 5000)
  closeSync(handle)
}

/** Fails every kind of write with `code`, sees that nothing of them is there, mends, and writes again. */
async function survives(code: string, mend: () => void): Promise<void> {
  const head = await store.chainHead('R1')
  const before = ['readings', 'batches', 'slabs', 'buckets', 'events', 'results', 'runs'].map(count)
  const fault = { code: 'STORE', context: { file: path }, message: expect.stringContaining(code) as string }
  await expect(store.appendReadings('R1', sampleReadings(channels, 600, 20_000))).rejects.toMatchObject(fault)
  await expect(store.appendEvent('R1', sampleEvent({ text: 'x'.repeat(50_000) })))
    .rejects.toMatchObject(fault)
  await expect(store.saveResult('R1', sampleResult({ reason: 'x'.repeat(50_000) })))
    .rejects.toMatchObject(fault)
  await expect(store.createRun(sampleRun('R2', { person: 'x'.repeat(50_000) }), channels))
    .rejects.toMatchObject(fault)
  expect(await store.chainHead('R1')).toBe(head)
  expect(['readings', 'batches', 'slabs', 'buckets', 'events', 'results', 'runs'].map(count)).toEqual(before)
  expect(await store.verifyChain('R1')).toBeNull()
  mend()
  await store.appendReadings('R1', sampleReadings(channels, 600, 20_000))
  await store.appendEvent('R1', sampleEvent())
  expect(await store.verifyChain('R1')).toBeNull()
  const same = openInlineStore(':memory:')
  await same.createRun(sampleRun(), channels)
  await same.appendReadings('R1', sampleReadings(channels, 0, 600))
  await same.appendReadings('R1', sampleReadings(channels, 600, 20_000))
  await same.appendEvent('R1', sampleEvent())
  expect(await store.chainHead('R1')).toBe(await same.chainHead('R1'))
  expect(await store.levels('R1', 1, 100)).toEqual(await same.levels('R1', 1, 100))
  await same.close()
}

// A file that is open cannot be taken away on Windows.
describe.skipIf(process.platform === 'win32')('a record that is taken away under the program', () => {
  const writes = (): Promise<unknown>[] => [
    store.appendReadings('R1', sampleReadings(channels, 600, 700)), store.appendEvent('R1', sampleEvent()),
    store.saveResult('R1', sampleResult()), store.finishRun('R1', 'done', 1), store.createRun(sampleRun('R2'), channels),
  ]
  const refused = async (file: string, what: string): Promise<void> => {
    const fault = { code: 'STORE', context: { file }, message: expect.stringContaining(what) as string }
    for (const write of writes()) await expect(write).rejects.toMatchObject(fault)
  }

  it('fails every write once it is deleted', async () => {
    rmSync(path)
    await refused(path, 'taken away')
  })

  it('fails every write once its write-ahead log is deleted', async () => {
    rmSync(`${path}-wal`)
    await refused(`${path}-wal`, 'taken away')
  })

  it('fails every write once another file stands in its place', async () => {
    copyFileSync(path, `${path}.copy`)
    renameSync(`${path}.copy`, path)
    await refused(path, 'replaced')
  })

  it.each([
    ['the record', 'copied over', '', copyOver], ['the record', 'cut short', '', cutShort],
    ['the record', 'changed by one byte', '', changeByte], ['its write-ahead log', 'copied over', '-wal', copyOver],
    ['its write-ahead log', 'cut short', '-wal', cutShort], ['its write-ahead log', 'changed by one byte', '-wal', changeByte],
  ])('fails every write once %s is %s in its place', async (_what, _how, ending, change) => {
    const file = `${path}${ending}`
    const was = statSync(file, { bigint: true })
    // Once more where the clock of the file system has not ticked since the last write.
    do change(file)
    while (statSync(file, { bigint: true }).mtimeNs === was.mtimeNs)
    expect(statSync(file, { bigint: true }).ino).toBe(was.ino)
    await refused(file, foreign)
  })

  it('fails every write once another program has committed something, and none for one that only reads', async () => {
    const other = new Database(path)
    try {
      expect(other.prepare('SELECT count(*) FROM runs').pluck().get()).toBe(1)
      await store.appendEvent('R1', sampleEvent())
      other.exec('BEGIN IMMEDIATE; CREATE TABLE foreign_table (x); ROLLBACK')
      await store.appendEvent('R1', sampleEvent())
      other.exec('CREATE TABLE foreign_table (x)')
      await expect(store.appendEvent('R1', sampleEvent())).rejects.toMatchObject({ code: 'STORE', message: expect.stringContaining(foreign) as string })
    } finally {
      other.close()
    }
    await expect(store.appendEvent('R1', sampleEvent())).rejects.toMatchObject({ code: 'STORE' })
  })

  it('goes on through its own checkpoints, and after a write that failed', async () => {
    for (let i = 0; i < 20; i++) await store.appendReadings('R1', sampleReadings(channels, 600 + i * 2000, 2000))
    db.pragma('query_only = ON')
    await expect(store.appendEvent('R1', sampleEvent())).rejects.toMatchObject({ code: 'STORE' })
    db.pragma('query_only = OFF')
    await store.appendEvent('R1', sampleEvent())
    expect(await store.verifyChain('R1')).toBeNull()
  })
})

describe('a store that cannot write', () => {
  it('says so when it is full, has written nothing by halves, and goes on when there is room', async () => {
    const pages = db.pragma('page_count', { simple: true }) as number
    db.pragma(`max_page_count = ${pages + 4}`)
    await survives('SQLITE_FULL', () => db.pragma('max_page_count = 1000000'))
  })

  it('says so when it may only read, and goes on when it may write', async () => {
    db.pragma('query_only = ON')
    await survives('SQLITE_READONLY', () => db.pragma('query_only = OFF'))
  })

  it('says so when another program holds it, and goes on when it lets go', async () => {
    const other = new Database(path)
    other.exec('BEGIN IMMEDIATE')
    await survives('SQLITE_BUSY', () => other.exec('ROLLBACK'))
    other.close()
  })

  it('says so on a disk that is really full, and goes on when there is room', async context => {
    const disk = folder('disk')
    mkdirSync(disk)
    try {
      execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=2m', 'tmpfs', disk], { stdio: 'pipe' })
    } catch {
      return context.skip('only a superuser can mount a small disk')
    }
    try {
      await fillDisk(disk)
    } finally {
      execFileSync('umount', ['-l', disk])
    }
  })

  it('says so when its folder may not be written to', context => {
    if (process.getuid?.() === 0) return context.skip('a superuser may write to any folder')
    const closed = folder('closed')
    mkdirSync(closed)
    chmodSync(closed, 0o500)
    expect(() => openInlineStore(join(closed, 'x.db'))).toThrow(expect.objectContaining({ code: 'STORE' }))
    return undefined
  })
})

async function fillDisk(disk: string): Promise<void> {
  const file = join(disk, 'record.db')
  let own = openInlineStore(file)
  await own.createRun(sampleRun(), channels)
  let kept = 0
  const more = (): Promise<void> => own.appendReadings('R1', sampleReadings(channels, kept, 1000))
  for (;;) {
    const fault: unknown = await more().then(() => undefined, (error: unknown) => error)
    if (fault === undefined) { kept += 1000; continue }
    expect(fault)
      .toMatchObject({ code: 'STORE', message: expect.stringMatching(/SQLITE_(FULL|IOERR)/) as string })
    break
  }
  expect(kept).toBeGreaterThan(0)
  expect(await own.verifyChain('R1')).toBeNull()
  execFileSync('mount', ['-o', 'remount,size=16m', disk], { stdio: 'pipe' })
  await more()
  await own.close()
  own = openInlineStore(file)
  const series = await Promise.all(channels.map(({ index }) => own.series('R1', index)))
  expect(series.reduce((sum, { atMs }) => sum + atMs.length, 0)).toBe(kept + 1000)
  expect(await own.verifyChain('R1')).toBeNull()
  await own.close()
}
