import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs'
import Database from 'better-sqlite3'
import { describe, expect, it } from 'vitest'
import { migrations, type Migration } from '../../src/store/migrations/index.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { openDatabase } from '../../src/store/open.ts'
import { fillStore, sampleChannels, sampleReadings } from './sample.ts'
import { temporaryFolder } from './temporary.ts'

const folder = temporaryFolder()
const fixtures = new URL('./fixtures/', import.meta.url)
const fixture = (version: number): string => readFileSync(new URL(`version-${version}.sql`, fixtures), 'utf8')

/** A database as a program of `version` left it. */
function earlier(version: number, name: string): string {
  const path = folder(name)
  const db = new Database(path)
  db.exec(`BEGIN; ${fixture(version)} COMMIT;`)
  db.close()
  return path
}

const schemaOf = (db: Database.Database): unknown =>
  db.prepare('SELECT type, name, tbl_name, sql FROM sqlite_schema ORDER BY type, name').all()

describe('opening', () => {
  it('makes a database that loses nothing in a power cut', () => {
    const db = openDatabase(folder('new.db'))
    expect(db.pragma('journal_mode', { simple: true })).toBe('wal')
    expect(db.pragma('synchronous', { simple: true })).toBe(2)
    expect(db.pragma('foreign_keys', { simple: true })).toBe(1)
    expect(db.pragma('busy_timeout', { simple: true })).toBe(2000)
    expect(db.pragma('user_version', { simple: true })).toBe(migrations.length)
    db.close()
  })

  it('keeps its settings when opened again', () => {
    openDatabase(folder('again.db')).close()
    const db = openDatabase(folder('again.db'))
    expect(db.pragma('synchronous', { simple: true })).toBe(2)
    expect(db.pragma('foreign_keys', { simple: true })).toBe(1)
    db.close()
  })

  it('refuses a later version, names both, and leaves it as it is', () => {
    const path = folder('later.db')
    const later: Migration[] = [...migrations, { version: 3, name: 'later', sql: 'CREATE TABLE later (x)' }]
    openDatabase(path, { steps: later }).close()
    const before = readFileSync(path)
    expect(() => openDatabase(path)).toThrow(expect.objectContaining({
      code: 'REFUSED',
      message: `${path}: the record has schema version 3 and this program knows versions up to 2`,
    }))
    expect(readFileSync(path).equals(before)).toBe(true)
    openDatabase(path, { steps: later }).close()
  })

  it("refuses another program's database and leaves it as it is", () => {
    const path = folder('foreign.db')
    const foreign = new Database(path)
    foreign.exec('CREATE TABLE notes (text)')
    foreign.close()
    const before = readFileSync(path)
    expect(() => openDatabase(path)).toThrow(expect.objectContaining({ code: 'REFUSED' }))
    expect(readFileSync(path).equals(before)).toBe(true)
  })

  it('says STORE, the path and what SQLite said for a file that is no database', () => {
    const path = folder('garbage.db')
    writeFileSync(path, 'not a database at all, '.repeat(500))
    expect(() => openInlineStore(path)).toThrow(expect.objectContaining({
      code: 'STORE', message: `${path}: cannot open the record: file is not a database (SQLITE_NOTADB)`,
    }))
  })

  it('says STORE for a folder, for a folder that is missing and for a path through a file', () => {
    mkdirSync(folder('a-folder'))
    writeFileSync(folder('a-file'), '')
    for (const path of [folder('a-folder'), folder('missing', 'x.db'), folder('a-file', 'x.db')]) {
      expect(() => openInlineStore(path)).toThrow(expect.objectContaining({
        code: 'STORE', context: { file: path }, message: expect.stringContaining('SQLITE_CANTOPEN') as string,
      }))
    }
  })

  it('says STORE for a database whose pages are damaged', () => {
    const path = folder('damaged.db')
    openDatabase(path).close()
    const bytes = readFileSync(path)
    bytes.fill(0xff, 100, 4096)
    writeFileSync(path, bytes)
    expect(() => openInlineStore(path)).toThrow(expect.objectContaining({
      code: 'STORE', message: expect.stringMatching(/SQLITE_(CORRUPT|NOTADB)/) as string,
    }))
  })
})

describe('migrations', () => {
  it('have a frozen database of every version but the newest', () => {
    const kept = readdirSync(fixtures).filter(name => name.startsWith('version-'))
    expect(kept.sort()).toEqual(migrations.slice(0, -1).map(step => `version-${step.version}.sql`))
  })

  it('did not change a step that was released: version 1 is what the frozen text says', () => {
    const made = openDatabase(':memory:', { steps: migrations.slice(0, 1) })
    const frozen = new Database(':memory:')
    frozen.exec(fixture(1))
    expect(schemaOf(made)).toEqual(schemaOf(frozen))
  })

  const earlierVersions = migrations.slice(0, -1).map(step => step.version)
  it.each(earlierVersions)('bring version %d to the newest schema', version => {
    const migrated = openDatabase(earlier(version, `schema-${version}.db`))
    const made = openDatabase(':memory:')
    expect(schemaOf(migrated)).toEqual(schemaOf(made))
    expect(migrated.pragma('integrity_check', { simple: true })).toBe('ok')
    expect(migrated.pragma('foreign_key_check')).toEqual([])
    migrated.close()
  })

  it('keep every row of version 1, and its chain, and build its levels', async () => {
    const store = openInlineStore(earlier(1, 'rows-1.db'))
    expect(await store.verifyChain('R1')).toBeNull()
    expect(await store.chainHead('R1'))
      .toBe('2b92591c7aeed6b7d1e8d4fc7828b3997433716efc47bdda7a458ce85081921b')
    expect((await store.run('R1'))!.state).toBe('done')
    expect((await store.series('R1', 1)).value.subarray(0, 2))
      .toEqual(Float64Array.of(NaN, 0.00001243536787107587))
    const buckets = await store.levels('R1', 0, 20)
    expect(buckets).toHaveLength(19)
    expect(buckets[3]).toEqual({
      atMs: 48000.25, min: 0.00001126344171119854, mean: 0.000015923845429933864, max: 0.00001854481525020674,
      count: 16, bad: 0,
    })
    await store.close()
  })

  it('leave a run that can be gone on with as if it had been of the newest version all along', async () => {
    const channels = sampleChannels(2)
    const migrated = openInlineStore(earlier(1, 'go-on.db'))
    const made = openInlineStore(':memory:')
    await fillStore(made, channels, 600)
    for (const store of [migrated, made]) {
      await store.appendReadings('R1', sampleReadings(channels, 600, 9000))
    }
    expect(await migrated.chainHead('R1')).toBe(await made.chainHead('R1'))
    for (const points of [5, 100, 3000]) {
      expect(await migrated.levels('R1', 1, points)).toEqual(await made.levels('R1', 1, points))
    }
    await migrated.close()
    await made.close()
  })

  it('are all done or none: a step that fails leaves the old version', () => {
    const path = earlier(1, 'broken.db')
    const broken: Migration[] = [
      ...migrations, { version: 3, name: 'broken', sql: 'CREATE TABLE half (x); SELECT nonsense' }
    ]
    expect(() => openDatabase(path, { steps: broken })).toThrow(expect.objectContaining({ code: 'STORE' }))
    const db = new Database(path)
    expect(db.pragma('user_version', { simple: true })).toBe(1)
    expect(db.prepare("SELECT count(*) FROM sqlite_schema WHERE name IN ('half', 'buckets')").pluck().get())
      .toBe(0)
    db.close()
    openDatabase(path).close()
  })
})
