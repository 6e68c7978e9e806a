/**
 * One program per data folder, by a lock that the kernel takes back when its holder dies, however it dies.
 */
import { mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import Database from 'better-sqlite3'
import { BenchError } from '../base/errors.ts'
import { guarded, sqliteCode } from './fault.ts'

export interface FolderLock { release(): void }

/**
 * Takes the data folder, making it where it is missing. Node has no file locks, SQLite has: an exclusive
 * transaction held open. Throws REFUSED naming the process that holds it, STORE where the folder cannot be
 * used.
 */
export function lockDataFolder(folder: string): FolderLock {
  return guarded(folder, 'cannot lock the data folder', () => {
    mkdirSync(folder, { recursive: true })
    const pidFile = join(folder, 'lock.pid')
    const db = new Database(join(folder, 'lock.db'), { timeout: 0 })
    try {
      db.exec('BEGIN EXCLUSIVE')
      // Beside the lock and not in it: nobody else can read what is locked.
      writeFileSync(pidFile, `${process.pid}\n`)
    } catch (error) {
      db.close()
      throw sqliteCode(error).startsWith('SQLITE_BUSY') ? heldBy(folder, pidFile) : error
    }
    return { release: () => release(db, pidFile) }
  })
}

function release(db: Database.Database, pidFile: string): void {
  if (!db.open) return
  rmSync(pidFile, { force: true })
  db.close()
}

function heldBy(folder: string, pidFile: string): BenchError {
  return new BenchError(
    'REFUSED', `process ${pidIn(pidFile)} uses this data folder already`, { file: folder }
  )
}

function pidIn(pidFile: string): string {
  try { return readFileSync(pidFile, 'utf8').trim() || 'unknown' } catch { return 'unknown' }
}
