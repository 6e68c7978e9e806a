/** Where the keeper of a data folder listens for stops. */
import { createHash } from 'node:crypto'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'

/** The path of a local socket is at most 107 bytes on Linux and 103 on others (unix(7), sun_path). */
const pathBytesMax = 100

/**
 * A socket in the data folder; where that path is too long, one in the temporary folder; a named pipe on
 * Windows.
 */
export function stopPath(dataFolder: string, platform: NodeJS.Platform = process.platform): string {
  const folder = resolve(dataFolder)
  const digest = createHash('sha256').update(folder).digest('hex').slice(0, 16)
  if (platform === 'win32') return `\\\\.\\pipe\\nightbench-keeper-${digest}`
  const path = join(folder, 'keeper.sock')
  return Buffer.byteLength(path) <= pathBytesMax ? path : join(tmpdir(), `nightbench-keeper-${digest}.sock`)
}
