/**
 * Where log lines go. Nothing here throws, and nothing is told of it to the log: what cannot be logged must
 * not be one more thing to log. A full disk costs lines, never the daemon.
 */
import { writeSync } from 'node:fs'

/** What waits for a pipe or a disk that takes nothing just now, in bytes; more than this is lost. */
const waitingBytesMax = 64 * 1024
const nothing = Buffer.alloc(0)

/** Lines for the file that is open as `fd`: at once, or with a later line, or counted. */
export class LogLines {
  readonly #fd: number
  #waiting: Buffer = nothing
  #lost = 0

  constructor(fd: number) { this.#fd = fd }

  /** Lines that could not be written and are not told of yet. */
  get lost(): number { return this.#lost }

  write(line: string): void {
    this.flushSync()
    const bytes = Buffer.from(line)
    const fits = this.#waiting.length === 0 || this.#waiting.length + bytes.length <= waitingBytesMax
    if (fits) this.#waiting = Buffer.concat([this.#waiting, bytes])
    else this.#lost++
    this.flushSync()
  }

  /** A line of which a part is written goes on where it stopped, so that none is torn. */
  flushSync(): void {
    try {
      while (this.#waiting.length > 0) {
        const written = writeSync(this.#fd, this.#waiting)
        if (written === 0) return
        this.#waiting = this.#waiting.subarray(written)
        if (this.#waiting.length === 0) this.#waiting = this.#lostLine()
      }
    } catch { /* it waits, as said above */ }
  }

  #lostLine(): Buffer {
    const lost = this.#lost
    this.#lost = 0
    if (lost === 0) return nothing
    const told = { level: 'warn', lost, msg: 'lines of this log were lost here' }
    return Buffer.from(`${JSON.stringify(told)}\n`)
  }
}
