/**
 * A start whose data folder is spoiled makes the bench safe all the same, and one that did not see the bench
 * off says so: whatever ended the last daemon may have left the supply on.
 */
import { statSync } from 'node:fs'
import { join } from 'node:path'
import { asBenchError, BenchError, hasCode } from '../base/errors.ts'
import { fileFault } from '../base/file-fault.ts'
import { stopPath } from '../keeper/stop-path.ts'
import type { SafeOffReport } from '../schema/application.ts'
import { lockDataFolder, type FolderLock } from '../store/lock.ts'

/** `spoiled`: why the folder cannot be used; to be thrown once the bench is safe. */
export type TakenFolder = { lock: FolderLock; spoiled: null } | { lock: null; spoiled: BenchError }

/** Throws REFUSED where another program uses the folder. */
export function takeDataFolder(folder: string): TakenFolder {
  try {
    return { lock: lockDataFolder(folder), spoiled: null }
  } catch (error) {
    if (hasCode(error, 'REFUSED')) throw error
    return { lock: null, spoiled: asBenchError(error, 'STORE') }
  }
}

/**
 * Throws STORE, by its path, for what stands where the keeper keeps its log or listens for stops: it guards
 * without them, but no night begins so.
 */
export function refuseSpoiled(folder: string): void {
  const log = join(folder, 'keeper.log')
  const there = kindOf(log)
  if (there === 'a folder' || there === 'no plain file') {
    throw new BenchError('STORE', 'the keeper cannot write here', {
      file: log, expected: 'a plain file or none', got: there,
    })
  }
  const door = stopPath(folder)
  if (process.platform !== 'win32' && kindOf(door) === 'a folder') {
    throw new BenchError('STORE', 'the keeper cannot listen for stops here', {
      file: door, expected: 'a socket or none', got: 'a folder',
    })
  }
}

function kindOf(path: string): 'nothing' | 'a file' | 'a folder' | 'no plain file' {
  try {
    const found = statSync(path, { throwIfNoEntry: false })
    if (!found) return 'nothing'
    return found.isFile() ? 'a file' : found.isDirectory() ? 'a folder' : 'no plain file'
  } catch (error) {
    throw fileFault(path, 'cannot be looked at', 'a file', error, 'STORE')
  }
}

/** Off by its own word, or nothing there that could be on. */
export const isSeenOff = ({ verifiedMs, links }: SafeOffReport): boolean =>
  verifiedMs !== null || links.length === 0

/** What ended a start before the bench was seen off. */
export function notSeenOff(error: unknown): BenchError {
  const { message, mend, context } = asBenchError(error)
  // "The daemon starts a new one", of a keeper that is gone, is no promise of a daemon that ends.
  const help = hasCode(error, 'KEEPER_GONE') ? 'The keeper did not start, or ended.' : mend
  const what = `${message}. ${help} This start did NOT SEE THE BENCH OFF: it may be energised`
  return Object.assign(new BenchError('ENERGY_UNKNOWN', what, {}, error), { context })
}
