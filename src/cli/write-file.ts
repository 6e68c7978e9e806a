/** Writes what a command was asked to write. */
import { createWriteStream } from 'node:fs'
import { Readable } from 'node:stream'
import { pipeline } from 'node:stream/promises'
import { BenchError } from '../base/errors.ts'
import { fileFault } from '../base/file-fault.ts'

/**
 * Writes the pieces to `path`, replacing what is there; returns the bytes. FILE_UNREADABLE when it cannot.
 */
export async function writeFile(
  path: string, pieces: AsyncIterable<string> | Iterable<string | Uint8Array>
): Promise<number> {
  const file = createWriteStream(path)
  try {
    await pipeline(Readable.from(pieces), file)
    return file.bytesWritten
  } catch (error) {
    if (error instanceof BenchError) throw error
    throw fileFault(path, 'cannot be written', 'a file in a folder that is there', error)
  }
}
