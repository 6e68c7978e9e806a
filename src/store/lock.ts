/**
 * One program per folder, by a lock that the kernel takes back when its holder dies, however it dies.
 */
import { readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import Database from 'better-sqlite3'
import { BenchError } from '../base/errors.ts'
import { makeFolder } from '../base/file-fault.ts'
import { guarded, sqliteCode } from './fault.ts'

export interface FolderLock { release(): void }

/** Who holds a folder: its process, "unknown" where nothing tells, and what it noted; empty for nothing. */
export interface Holder { pid: string; note: string }

/** Takes the data folder, making it where it is missing. Throws as `lockFolder` does. */
export const lockDataFolder = (folder: string): FolderLock => lockFolder(folder, ({ pid }) => new BenchError(
  'REFUSED', `process ${pid} uses this data folder already. End it first, or name another with --data`,
  { file: folder },
))

/**
 * Takes a folder, making it where it is missing. Node has no file locks, SQLite has: an exclusive
 * transaction held open. It takes no space: on a full disk, too, a daemon must come as far as to make the
 * bench safe. Throws what `heldBy` makes of its holder, STORE where the folder cannot be used.
 */
export function lockFolder(folder: string, heldBy: (holder: Holder) => BenchError, note = ''): FolderLock {
  return guarded(folder, 'cannot lock the folder', () => {
    makeFolder(folder, 'STORE')
    const pidFile = join(folder, 'lock.pid')
    const db = new Database(join(folder, 'lock.db'), { timeout: 0 })
    try {
      // Nothing is ever written into it, so it needs no journal on the disk.
      db.pragma('journal_mode = MEMORY')
      db.exec('BEGIN EXCLUSIVE')
    } catch (error) {
      db.close()
      throw sqliteCode(error).startsWith('SQLITE_BUSY') ? heldBy(holderIn(pidFile)) : error
    }
    // Beside the lock and not in it: nobody else can read what is locked.
    attempt(() => {
      // Whatever stands there, a pipe that nobody reads too, is of no holder any more.
      rmSync(pidFile, { force: true })
      writeFileSync(pidFile, `${process.pid}\n${note}\n`, { flag: 'wx' })
    })
    return { release: () => release(db, pidFile) }
  })
}

function release(db: Database.Database, pidFile: string): void {
  if (!db.open) return
  attempt(() => rmSync(pidFile, { force: true }))
  db.close()
}

/** Who holds the lock is only told; a lock whose holder is unknown holds all the same. */
function attempt(act: () => void): void {
  try { act() } catch { /* as said above */ }
}

function holderIn(pidFile: string): Holder {
  try {
    if (!statSync(pidFile).isFile()) return { pid: 'unknown', note: '' }
    const [pid, note] = readFileSync(pidFile, 'utf8').split('\n')
    return { pid: pid || 'unknown', note: note ?? '' }
  } catch {
    return { pid: 'unknown', note: '' }
  }
}
