/** A file or folder that cannot be used, told by its path, what belongs there and what is there. */
import { existsSync, mkdirSync } from 'node:fs'
import { dirname } from 'node:path'
import { BenchError, type ErrorCode } from './errors.ts'

const words: Readonly<Record<string, string>> = {
  ENOTDIR: 'a path that leads through a file', EISDIR: 'a folder', EACCES: 'no permission',
  EPERM: 'no permission', ENOSPC: 'no space left', EROFS: 'a disk that may only be read',
  ELOOP: 'links that lead in a circle', ENAMETOOLONG: 'a name that is too long',
}

/**
 * `what`, e.g. "cannot be read"; `expected`, e.g. "a bench file". What is there instead is told in words
 * where the system's code is known, else by the thrown message.
 */
export function fileFault(
  file: string, what: string, expected: string, error: unknown, code: ErrorCode = 'FILE_UNREADABLE',
): BenchError {
  return new BenchError(code, what, { file, expected, got: foundAt(file, error) }, error)
}

function foundAt(file: string, error: unknown): string {
  const { code, syscall } = error as NodeJS.ErrnoException
  if (code === 'ENOENT') return existsSync(dirname(file)) ? 'no such file' : `no folder ${dirname(file)}`
  // A folder that is there is no error to those who make one.
  if (code === 'EEXIST') return syscall === 'mkdir' ? 'a file where a folder belongs' : 'one that is there'
  return words[code ?? ''] ?? (error instanceof Error ? error.message : String(error)).split('\n', 1)[0]!
}

/** Makes a folder and those above it where they are missing. Throws as `fileFault` tells it. */
export function makeFolder(path: string, code?: ErrorCode): void {
  try {
    mkdirSync(path, { recursive: true })
  } catch (error) {
    throw fileFault(path, 'cannot be made', 'a folder', error, code)
  }
}
