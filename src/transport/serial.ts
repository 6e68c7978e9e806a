/**
 * A serial port. Bytes are passed on as they come; or, for instruments that only ever
 * send lines, line by line.
 */
import { Transform, type TransformCallback } from 'node:stream'
import { ReadlineParser } from '@serialport/parser-readline'
import { SerialPort } from 'serialport'
import { type Clock, sleep } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { Transport } from './transport.ts'
import { LinkEnd } from './transport.ts'

export interface SerialSettings {
  readonly path: string
  readonly baudRate: number
  readonly dataBits: 5 | 6 | 7 | 8
  readonly stopBits: 1 | 2
  readonly parity: 'none' | 'even' | 'odd'
  readonly rtscts: boolean
  readonly xonXoff: boolean
  /** Refuse to share the port with another program. */
  readonly lock: boolean
  /** State of the modem lines after opening; undefined leaves what the system does. */
  readonly dtr: boolean | undefined
  readonly rts: boolean | undefined
  /** Whether closing drops DTR. A port that does resets some boards. */
  readonly hangUp: boolean
  /**
   * Only lines are ever sent: use the library's line reader, behind a limit of this many
   * bytes. Undefined: raw bytes.
   */
  readonly lineBytesMax: number | undefined
}

/** Part of the library's port on unix. */
interface Poller { once(event: 'disconnect', listener: (error: Error | null) => void): unknown }

/** How long a break lasts: longer than one character at the slowest usual rate (300 baud). */
const breakMs = 50

export class SerialTransport extends LinkEnd implements Transport {
  readonly #settings: SerialSettings
  readonly #clock: Clock
  #port: SerialPort | null = null
  #opened: Promise<void> | null = null

  constructor(url: string, settings: SerialSettings, clock: Clock) {
    super(url)
    this.#settings = settings
    this.#clock = clock
  }

  /** Rejects with LINK_BUSY when another program holds the port, LINK_OPEN when it cannot be opened. */
  open(signal?: AbortSignal): Promise<void> {
    this.opening()
    this.#opened = this.#open(signal)
    return this.#opened
  }

  write(bytes: string | Uint8Array): void {
    if (this.state !== 'up') throw this.down()
    if (typeof bytes === 'string') this.#port!.write(bytes, 'latin1')
    else this.#port!.write(Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength))
  }

  /** Sends a break. A port without modem lines (a pseudo-terminal) has none, which is no fault. */
  async clear(): Promise<void> {
    if (this.state !== 'up') throw this.down()
    await this.#set({ brk: true, ...this.#lines() })
    await sleep(this.#clock, breakMs)
    if (this.up) await this.#set({ brk: false, ...this.#lines() })
  }

  async close(): Promise<void> {
    this.ended(null)
    // A port that is still being opened can be closed only when it is open.
    await this.#opened?.catch(() => {})
    await this.#release()
  }

  async #open(signal?: AbortSignal): Promise<void> {
    try {
      signal?.throwIfAborted()
      const port = this.#makePort()
      await new Promise<void>((resolve, reject) =>
        port.open(error => error ? reject(openError(this.url, error)) : resolve()))
      port.on('close', (error: Error | null) => this.#lost(error))
      port.on('error', (error: Error) => this.#lost(error))
      this.#watch(port)
      if (this.#settings.dtr !== undefined || this.#settings.rts !== undefined) await this.#set(this.#lines())
      signal?.throwIfAborted()
      if (this.state !== 'opening') throw this.down()
      this.state = 'up'
    } catch (error) {
      this.state = 'closed'
      await this.#release()
      throw error
    }
  }

  #makePort(): SerialPort {
    const s = this.#settings
    const port = new SerialPort({
      path: s.path, baudRate: s.baudRate, dataBits: s.dataBits, stopBits: s.stopBits, parity: s.parity,
      rtscts: s.rtscts, xon: s.xonXoff, xoff: s.xonXoff, lock: s.lock, hupcl: s.hangUp, autoOpen: false,
    })
    if (s.lineBytesMax === undefined) port.on('data', (chunk: Buffer) => this.deliver(chunk))
    else this.#readLines(port, s.lineBytesMax)
    this.#port = port
    return port
  }

  /** The line reader alone would hold any number of bytes of a line that never ends. */
  #readLines(port: SerialPort, lineBytesMax: number): void {
    const limit = new LineLimit(lineBytesMax)
    limit.on('error', error => this.#lost(error))
    port.pipe(limit).pipe(new ReadlineParser({ delimiter: '\n', encoding: 'latin1' }))
      .on('data', (line: string) => this.deliver(Buffer.from(`${line}\n`, 'latin1')))
  }

  /**
   * A read that is under way when the adapter is pulled out gives no bytes and no error, and the library
   * would repeat it for ever. So the loss is watched for on its own.
   */
  #watch(port: SerialPort): void {
    const poller = (port.port as { poller?: Poller } | undefined)?.poller
    poller?.once('disconnect', error => { if (this.state !== 'closed') this.#lost(error) })
  }

  /** Every call sets both lines: the library would else raise them. */
  #lines(): { dtr: boolean; rts: boolean } {
    return { dtr: this.#settings.dtr ?? true, rts: this.#settings.rts ?? true }
  }

  #set(flags: { brk?: boolean; dtr: boolean; rts: boolean }): Promise<void> {
    return new Promise((resolve, reject) => this.#port!.set(flags, error => {
      if (!error || isNoModem(error)) resolve()
      else reject(new BenchError(
        'LINK_OPEN', `${this.url}: cannot set the modem lines (${error.message})`, {}, error
      ))
    }))
  }

  #lost(error: Error | null): void {
    this.ended(this.down(error ?? new Error('the port went away')))
    void this.#release()
  }

  #release(): Promise<void> {
    const port = this.#port
    if (port === null || !port.isOpen) return Promise.resolve()
    return new Promise(resolve => port.close(() => resolve()))
  }
}

/** Passes bytes on and fails when more than `bytesMax` of them come without a line feed. */
export class LineLimit extends Transform {
  readonly #bytesMax: number
  #length = 0

  constructor(bytesMax: number) {
    super()
    this.#bytesMax = bytesMax
  }

  override _transform(chunk: Buffer, _encoding: BufferEncoding, done: TransformCallback): void {
    for (let from = 0; from < chunk.length;) {
      const end = chunk.indexOf(10, from)
      this.#length += (end < 0 ? chunk.length : end) - from
      if (this.#length > this.#bytesMax) return done(new Error(`a line of more than ${this.#bytesMax} bytes`))
      if (end < 0) break
      this.#length = 0
      from = end + 1
    }
    done(null, chunk)
  }
}

/** ENOTTY: a pseudo-terminal and some adapters have no modem lines. */
const isNoModem = (error: Error): boolean => /inappropriate ioctl|ENOTTY/i.test(error.message)

function openError(url: string, error: Error): BenchError {
  const busy = /lock|busy|EBUSY/i.test(error.message)
  return busy
    ? new BenchError('LINK_BUSY', `${url} is held by another program`, {}, error)
    : new BenchError('LINK_OPEN', `cannot open ${url}: ${error.message}`, {}, error)
}
