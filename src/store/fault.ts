/** What SQLite throws, as the one error of this program. */
import { AssertionFault } from '../base/assert.ts'
import { BenchError } from '../base/errors.ts'

/** Any thrown thing as BenchError STORE naming `path`, what was tried and SQLite's own code. */
export function storeFault(path: string, what: string, error: unknown): BenchError | AssertionFault {
  if (error instanceof BenchError || error instanceof AssertionFault) return error
  const message = error instanceof Error ? error.message : String(error)
  return new BenchError('STORE', `${what}: ${message} (${sqliteCode(error)})`, { file: path }, error)
}

/**
 * SQLite's extended result code, e.g. `SQLITE_FULL`, or the system's where SQLite was not reached, e.g.
 * `EACCES`.
 */
export function sqliteCode(error: unknown): string {
  // better-sqlite3 looks for the folder itself and throws a TypeError when there is none.
  if (error instanceof TypeError && /cannot open/i.test(error.message)) return 'SQLITE_CANTOPEN'
  const code = error instanceof Error && 'code' in error ? error.code : undefined
  return typeof code === 'string' ? code : 'no SQLite code'
}

/** Runs `work`; what it throws comes out as storeFault makes it. */
export function guarded<T>(path: string, what: string, work: () => T): T {
  try { return work() } catch (error) { throw storeFault(path, what, error) }
}
