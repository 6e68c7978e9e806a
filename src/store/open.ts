/** Opens the record: durable settings, and the schema brought up to date. */
import Database from 'better-sqlite3'
import { BenchError } from '../base/errors.ts'
import { guarded } from './fault.ts'
import { rebuildAllLevels } from './level-writer.ts'
import { latestVersion, migrations, type Migration } from './migrations/index.ts'

export type Db = Database.Database

export interface OpenOptions {
  /** How long a statement waits for another program's lock. */
  readonly busyMs?: number
  /** The steps this program knows; tests give fewer to make what an earlier program left. */
  readonly steps?: readonly Migration[]
}

/** Marks the file as ours, so that somebody else's database is refused and not written to: `Nben`. */
const applicationId = 0x4e62656e

/**
 * Opens or creates the database at `path` (`:memory:` for none). Throws STORE, with SQLite's code, where it
 * cannot; REFUSED where it is another program's database or one of a later version.
 */
export function openDatabase(path: string, options: OpenOptions = {}): Db {
  return guarded(path, 'cannot open the record', () => {
    const db = new Database(path, { timeout: options.busyMs ?? 2000 })
    try {
      const steps = options.steps ?? migrations
      const version = checkOwnership(db, path, steps.length)
      configure(db, path)
      if (version < steps.length) migrate(db, path, steps)
      return db
    } catch (error) {
      db.close()
      throw error
    }
  })
}

/** The schema version of the file, 0 for a new one. Only reads. */
function checkOwnership(db: Db, path: string, known: number): number {
  const version = db.pragma('user_version', { simple: true }) as number
  const owner = db.pragma('application_id', { simple: true }) as number
  const tables = db.prepare('SELECT count(*) FROM sqlite_schema').pluck().get() as number
  if (tables > 0 && owner !== applicationId) {
    throw new BenchError('REFUSED', 'this is a database of another program', { file: path })
  }
  if (version > known) {
    const what = `the record has schema version ${version} and this program knows versions up to ${known}`
    throw new BenchError('REFUSED', what, { file: path })
  }
  return version
}

function configure(db: Db, path: string): void {
  const mode = db.pragma('journal_mode = WAL', { simple: true })
  if (mode !== 'wal' && !db.memory) {
    throw new BenchError('STORE', 'the file system allows no write-ahead log', { file: path })
  }
  // better-sqlite3 is built to fall back to NORMAL under WAL, which may lose the last commits in a power cut.
  db.pragma('synchronous = FULL')
  db.pragma('foreign_keys = ON')
  db.pragma('trusted_schema = OFF')
}

/** All missing steps in one transaction: the file is of the old version or of the new, never between. */
function migrate(db: Db, path: string, steps: readonly Migration[]): void {
  db.transaction(() => {
    // Read again: another program may have been here before the lock was ours.
    const from = checkOwnership(db, path, steps.length)
    const missing = steps.slice(from)
    for (const step of missing) db.exec(step.sql)
    if (steps.length === latestVersion && missing.some(step => step.rebuildsLevels)) rebuildAllLevels(db)
    db.pragma(`application_id = ${applicationId}`)
    db.pragma(`user_version = ${steps.length}`)
  }).immediate()
}
