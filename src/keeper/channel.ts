/**
 * The channel between daemon and keeper: one pipe of the keeper's process, one JSON text a line, both ways.
 * It is quicker than Node's own message channel, and what is not understood is told instead of thrown.
 */
import type { Duplex } from 'node:stream'

/** The file descriptor of the keeper's process that is its end of the pipe. */
export const channelFd = 3

/** Far above a safe-off table of hundreds of relays, and above the longest answer of an instrument. */
export const lineBytesMax = 4 * 2 ** 20

export interface ChannelEvents {
  message(message: unknown): void
  /** A line that is no JSON, or far too long. Called once; nothing is heard after it. */
  malformed(what: string): void
  /** The other side is gone. May be called more than once. */
  gone(): void
}

export interface Channel {
  /** Sends now; the other side's end is told by `gone`. */
  send(message: object): void
  close(): void
}

/** Speaks lines of JSON over `pipe`, from now on. */
export function openChannel(pipe: Duplex, events: ChannelEvents): Channel {
  let heard = true
  const end = (what: string): void => { heard = false; events.malformed(what) }
  const splitter = new LineSplitter(lineBytesMax, line => {
    if (!heard) return
    let message: unknown
    try { message = JSON.parse(line) } catch { return end('a line that is no JSON') }
    events.message(message)
  })
  pipe.on('data', (chunk: Buffer) => {
    if (heard && !splitter.push(chunk)) end(`a line of more than ${lineBytesMax} bytes`)
  })
  pipe.on('error', () => events.gone())
  pipe.on('end', () => events.gone())
  pipe.on('close', () => events.gone())
  return {
    send: message => { if (pipe.writable) pipe.write(`${ascii(JSON.stringify(message))}\n`, 'latin1') },
    close: () => { pipe.destroy() },
  }
}

/**
 * JSON can say every character in ASCII, and texts of one byte a character are the quickest to send and read.
 */
function ascii(json: string): string {
  if (!/[^\0-\x7f]/.test(json)) return json
  return json.replace(/[^\0-\x7f]/g, unit => `\\u${unit.charCodeAt(0).toString(16).padStart(4, '0')}`)
}

const lineFeed = 10

/** Cuts bytes into lines of ASCII, whatever chunks they come in. */
export class LineSplitter {
  readonly #bytesMax: number
  readonly #onLine: (line: string) => void
  #held: Buffer[] = []
  #heldBytes = 0

  constructor(bytesMax: number, onLine: (line: string) => void) {
    this.#bytesMax = bytesMax
    this.#onLine = onLine
  }

  /** False when a line is longer than the limit; what was held of it is dropped. */
  push(chunk: Buffer): boolean {
    let start = 0
    for (let at = chunk.indexOf(lineFeed); at >= 0; at = chunk.indexOf(lineFeed, start)) {
      if (this.#heldBytes + at - start > this.#bytesMax) return this.#drop()
      this.#onLine(this.#take(chunk, start, at))
      start = at + 1
    }
    if (start === chunk.length) return true
    this.#held.push(start === 0 ? chunk : chunk.subarray(start))
    this.#heldBytes += chunk.length - start
    return this.#heldBytes <= this.#bytesMax || this.#drop()
  }

  #take(chunk: Buffer, start: number, end: number): string {
    if (this.#heldBytes === 0) return chunk.toString('latin1', start, end)
    const whole = Buffer.concat([...this.#held, chunk.subarray(start, end)])
    this.#drop()
    return whole.toString('latin1')
  }

  #drop(): false {
    this.#held = []
    this.#heldBytes = 0
    return false
  }
}
