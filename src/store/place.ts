/**
 * Whether the files of the record are still where they were, and as this program left them. SQLite goes on
 * writing into a file that somebody took away, and what it writes there is gone with the process; into a file
 * that somebody wrote over, it writes what nobody can read.
 */
import { statSync } from 'node:fs'
import { BenchError } from '../base/errors.ts'
import type { Db } from './open.ts'

export interface Place {
  /**
   * Before a write. Throws STORE when the record or its write-ahead log was moved, replaced or deleted, or
   * when another program wrote to them, through SQLite or past it.
   */
  check(): void
  /** After a write of this program, done or failed: so the files stand until its next. */
  wrote(): void
}

interface Look { readonly ino: bigint; readonly size: bigint; readonly mtimeNs: bigint }

/** Windows stamps a file that is open when it likes. */
const isStamped = process.platform !== 'win32'

/** The files of the record at `path`, as they are now; nothing is looked at for one in memory. */
export function placeOf(path: string, db: Db): Place {
  if (db.memory) return { check: () => {}, wrote: () => {} }
  const last = new Map<string, Look | undefined>()
  const files = [path, `${path}-wal`]
  // Changes with what any other connection commits, and with nothing that this one does.
  const version = db.prepare('PRAGMA data_version').pluck()
  const wrote = (): void => { for (const file of files) last.set(file, look(file)) }
  const check = (): void => {
    for (const file of files) {
      const what = changeOf(last.get(file), look(file))
      if (what !== null) throw toldOf(what, file)
    }
    if (version.get() !== first) throw toldOf(writtenTo, path)
  }
  const first = version.get()
  wrote()
  return { check, wrote }
}

/** Only a new start reads the record anew; until then nothing more is written to it. */
const toldOf = (what: string, file: string): BenchError => new BenchError(
  'STORE', `the record was ${what}: see that nothing else uses it, then start the daemon again`, { file })

const writtenTo = 'written to by another program'

const look = (file: string): Look | undefined => statSync(file, { bigint: true, throwIfNoEntry: false })

function changeOf(was: Look | undefined, now: Look | undefined): string | null {
  if (was === undefined) return null
  if (now === undefined) return 'taken away under this program'
  if (now.ino !== was.ino) return 'replaced under this program'
  return now.size === was.size && (!isStamped || now.mtimeNs === was.mtimeNs) ? null : writtenTo
}
