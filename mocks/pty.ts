/**
 * A pseudo-terminal: a serial port without a cable. The simulated instrument holds the master, and the daemon
 * opens the path like any serial port. Baud rate is not enforced and there are no modem lines.
 */
import { spawn } from 'node:child_process'
import { closeSync, constants, openSync, readFileSync } from 'node:fs'
import { ReadStream } from 'node:tty'

export interface Pty {
  /** What the daemon opens, e.g. /dev/pts/4. */
  readonly path: string
  /** Calls `listener` with what the daemon wrote; the chunk is the listener's to keep. */
  onBytes(listener: (chunk: Buffer) => void): void
  /** Sends to the daemon. */
  write(bytes: string | Uint8Array): void
  /** Takes the port away, as an unplugged adapter does. */
  close(): void
}

/** A new pseudo-terminal in raw mode. Rejects with a sentence that says why there can be none here. */
export async function openPty(): Promise<Pty> {
  if (process.platform !== 'linux') throw new Error('pseudo-terminals are opened through /dev/ptmx of Linux')
  const master = openMaster()
  try {
    await unlock(master)
    const path = slavePath(master)
    // Kept open and never read: without it the first close by the daemon would be the end of the terminal.
    const slave = openSync(path, constants.O_RDWR | constants.O_NOCTTY)
    return makePty(path, master, slave)
  } catch (error) {
    closeSync(master)
    throw error
  }
}

function openMaster(): number {
  try {
    return openSync('/dev/ptmx', constants.O_RDWR | constants.O_NOCTTY)
  } catch (error) {
    throw new Error(`no pseudo-terminal: /dev/ptmx cannot be opened (${(error as Error).message})`,
      { cause: error })
  }
}

/** TIOCSPTLCK with 0. Node has no ioctl; perl is part of every Debian. */
function unlock(master: number): Promise<void> {
  const script = 'my $off = pack("i", 0); ioctl(STDIN, 0x40045431, $off) or exit 1;'
  return new Promise((resolve, reject) => {
    spawn('perl', ['-e', script], { stdio: [master, 'ignore', 'ignore'] })
      .once('error', error => reject(new Error(`no pseudo-terminal: perl cannot be run (${error.message})`)))
      .once('exit',
        code => code === 0 ? resolve() : reject(new Error('no pseudo-terminal: it cannot be unlocked')))
  })
}

function slavePath(master: number): string {
  const index = /^tty-index:\s*(\d+)/m.exec(readFileSync(`/proc/self/fdinfo/${master}`, 'latin1'))?.[1]
  if (index === undefined) throw new Error('no pseudo-terminal: the kernel does not say its number')
  return `/dev/pts/${index}`
}

function makePty(path: string, master: number, slave: number): Pty {
  const stream = new ReadStream(master)
  stream.setRawMode(true)
  // EIO says that nobody has the other side open: a state, not a fault.
  stream.on('error', () => {})
  let closed = false
  return {
    path,
    onBytes: listener => { stream.on('data', listener) },
    write: bytes => { if (!closed) stream.write(bytes as Uint8Array) },
    close: () => {
      if (closed) return
      closed = true
      closeSync(slave)
      stream.destroy()
    },
  }
}
