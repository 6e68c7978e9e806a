/**
 * One link, one owner: of two daemons with data folders of their own, the second must not open what the first
 * drives. Serial ports refuse a second program by themselves; sockets and USBTMC do not.
 */
import { createHash } from 'node:crypto'
import { realpathSync } from 'node:fs'
import { tmpdir, userInfo } from 'node:os'
import { join } from 'node:path'
import { BenchError } from '../base/errors.ts'
import { lockFolder, type FolderLock, type Holder } from '../store/lock.ts'
import { parseLinkUrl } from '../transport/open.ts'

/** Where locks are kept that all daemons of this user look at; gone with the session where there is one. */
export const runtimeFolder = (
  environment: Readonly<Record<string, string | undefined>> = process.env,
): string =>
  join(environment['XDG_RUNTIME_DIR'] ?? join(tmpdir(), `nightbench-${userInfo().username}`),
    'nightbench-links')

/**
 * Takes the links at `urls`, however they are spelled, all or none. The kernel takes them back when this
 * process ends, however it ends. Throws REFUSED, naming link and holder, with the holder's `dataFolder`.
 */
export function lockLinks(
  urls: readonly string[], folder: string = runtimeFolder(), dataFolder = '',
): FolderLock {
  const locks: FolderLock[] = []
  const release = (): void => { for (const lock of locks.splice(0)) lock.release() }
  try {
    for (const [place, url] of new Map(urls.map(url => [placeOf(url), url]))) {
      locks.push(lockFolder(join(folder, nameOf(place)), drivenBy(url), dataFolder))
    }
    return { release }
  } catch (error) {
    release()
    throw error
  }
}

const drivenBy = (url: string) => ({ pid, note }: Holder): BenchError => {
  const of = note === '' ? '' : `, with data folder ${note},`
  return new BenchError('REFUSED', `process ${pid}${of} drives ${url} already: `
    + 'one bench has one daemon. End that one, or take this instrument out of the bench file')
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
