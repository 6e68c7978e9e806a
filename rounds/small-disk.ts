/** A disk that can be full at any moment: a small file system in memory, or a limit on the size of files. */
import { execFileSync } from 'node:child_process'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'

export interface SmallDisk {
  readonly folder: string
  readonly how: 'tmpfs' | 'file size limit'
  /** From now on nothing more can be written by this process. */
  fill(pid: number): void
  free(): void
  remove(): void
}

/** Enough for an hour of a small rack. */
const sizeMb = 16

/** `tmpfs` where mounting is allowed; otherwise the limit that a process has on the size of its files. */
export function smallDisk(): SmallDisk {
  const folder = mkdtempSync(join(tmpdir(), 'rounds-disk-'))
  const filler = join(folder, 'filler')
  const remove = (): void => rmSync(folder, { recursive: true, force: true, maxRetries: 5 })
  try {
    execFileSync('mount', ['-t', 'tmpfs', '-o', `size=${sizeMb}m`, 'rounds', folder], { stdio: 'ignore' })
  } catch {
    // Node ignores the signal that comes with it.
    const fill = (pid: number): void => { execFileSync('prlimit', ['--pid', `${pid}`, '--fsize=0:']) }
    return { folder, how: 'file size limit', fill, free: () => {}, remove }
  }
  return {
    folder, how: 'tmpfs',
    fill: () => fillUp(filler),
    free: () => rmSync(filler, { force: true }),
    remove: () => { execFileSync('umount', ['--lazy', folder], { stdio: 'ignore' }); remove() },
  }
}

function fillUp(path: string): void {
  for (const bytes of [1 << 20, 1 << 12, 1]) {
    const block = Buffer.alloc(bytes)
    try { for (;;) writeFileSync(path, block, { flag: 'a' }) } catch { /* full, to this block size */ }
  }
}
