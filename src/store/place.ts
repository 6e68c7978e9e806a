/**
 * Whether the files of the record are still where they were. SQLite goes on writing into a file that somebody
 * took away, and what it writes there is gone with the process.
 */
import { statSync } from 'node:fs'
import { BenchError } from '../base/errors.ts'

export interface Place {
  /** Before a write. Throws STORE when the record or its write-ahead log was moved, replaced or deleted. */
  check(): void
}

/** The files of the record at `path`, as they are now; nothing is looked at for one in memory. */
export function placeOf(path: string, inMemory: boolean): Place {
  const first = new Map<string, bigint>()
  const files = inMemory ? [] : [path, `${path}-wal`]
  const check = (): void => {
    for (const file of files) {
      const now = statSync(file, { bigint: true, throwIfNoEntry: false })?.ino
      const was = first.get(file)
      if (was === undefined) { if (now !== undefined) first.set(file, now) }
      else if (now !== was) {
        throw new BenchError('STORE',
          `the record was ${now === undefined ? 'taken away' : 'replaced'} under this program`, { file })
      }
    }
  }
  check()
  return { check }
}
