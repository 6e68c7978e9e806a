/**
 * One link, one owner: of two daemons with data folders of their own, the second must not open what the first
 * drives. Serial ports refuse a second program by themselves; sockets and USBTMC do not.
 */
import { createHash } from 'node:crypto'
import { realpathSync } from 'node:fs'
import { tmpdir, userInfo } from 'node:os'
import { join } from 'node:path'
import { BenchError, hasCode } from '../base/errors.ts'
import { lockDataFolder, type FolderLock } from '../store/lock.ts'
import { parseLinkUrl } from '../transport/open.ts'

/** Where locks are kept that all daemons of this user look at; gone with the session where there is one. */
export const runtimeFolder = (
  environment: Readonly<Record<string, string | undefined>> = process.env,
): string =>
  join(environment['XDG_RUNTIME_DIR'] ?? join(tmpdir(), `nightbench-${userInfo().username}`),
    'nightbench-links')

/**
 * Takes the links at `urls`, however they are spelled, all or none. The kernel takes them back when this
 * process ends, however it ends. Throws REFUSED, naming link and holder.
 */
export function lockLinks(urls: readonly string[], folder: string = runtimeFolder()): FolderLock {
  const locks: FolderLock[] = []
  const release = (): void => { for (const lock of locks.splice(0)) lock.release() }
  try {
    for (const [place, url] of new Map(urls.map(url => [placeOf(url), url]))) {
      locks.push(lockOne(join(folder, nameOf(place)), url))
    }
    return { release }
  } catch (error) {
    release()
    throw error
  }
}

function lockOne(folder: string, url: string): FolderLock {
  try {
    return lockDataFolder(folder)
  } catch (error) {
    if (!hasCode(error, 'REFUSED')) throw error
    throw new BenchError('REFUSED', `another daemon drives ${url}`,
      { expected: 'one daemon a bench', got: error instanceof Error ? error.message : String(error) }, error)
  }
}

const nameOf = (place: string): string => createHash('sha256').update(place).digest('hex').slice(0, 24)

/** The device itself: links have lasting names and short ones, and a serial URL carries its settings. */
function placeOf(url: string): string {
  const address = parseLinkUrl(url)
  switch (address.kind) {
    case 'tcp': return `tcp ${address.host.toLowerCase().replace(/^localhost$/, '127.0.0.1')} ${address.port}`
    case 'serial': return `path ${pathOf(address.settings.path)}`
    case 'usbtmc': return `path ${pathOf(address.path)}`
    case 'memory': return `memory ${address.name}`
  }
}

function pathOf(path: string): string {
  try { return realpathSync(path) } catch { return path }
}
