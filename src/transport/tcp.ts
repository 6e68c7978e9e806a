/** A raw TCP socket: one line, one message. The usual port for SCPI is 5025. */
import { connect, type Socket } from 'node:net'
import { BenchError } from '../base/errors.ts'
import type { Transport } from './transport.ts'
import { LinkEnd } from './transport.ts'

/** Bytes read from the kernel at once; one buffer a link, reused. */
const readBytesMax = 65536
const keepAliveMs = 15_000

export class TcpTransport extends LinkEnd implements Transport {
  #host: string
  #port: number
  #socket: Socket | null = null

  constructor(url: string, host: string, port: number) {
    super(url)
    this.#host = host
    this.#port = port
  }

  /** Rejects with LINK_OPEN when refused or unreachable, with the signal's reason when it aborts first. */
  open(signal?: AbortSignal): Promise<void> {
    this.opening()
    return new Promise((resolve, reject) => {
      const refuse = (error: Error): void => {
        signal?.removeEventListener('abort', onAbort)
        this.state = 'closed'
        this.#socket?.destroy()
        reject(error)
      }
      const onAbort = (): void => refuse(signal!.reason as Error)
      if (signal?.aborted) return onAbort()
      signal?.addEventListener('abort', onAbort, { once: true })
      const socket = this.#connect()
      socket.once('connect', () => {
        if (this.state !== 'opening') return
        signal?.removeEventListener('abort', onAbort)
        this.state = 'up'
        resolve()
      })
      socket.on('error', error => this.up ? this.#lost(error) : refuse(openError(this.url, error)))
      socket.once('close', () => this.up
        ? this.#lost()
        : refuse(new BenchError('LINK_OPEN', `${this.url}: closed while it was being opened`)))
    })
  }

  write(bytes: string | Uint8Array): void {
    if (this.state !== 'up') throw this.down()
    if (typeof bytes === 'string') this.#socket!.write(bytes, 'latin1')
    else this.#socket!.write(bytes)
  }

  async close(): Promise<void> {
    this.ended(null)
    const socket = this.#socket
    if (socket === null || socket.destroyed) return
    await new Promise<void>(resolve => {
      socket.once('close', () => resolve())
      // What the kernel took is still sent; what it would not take belongs to a peer that reads no more.
      if (socket.writableLength > 0) socket.destroy()
      else socket.destroySoon()
    })
  }

  #connect(): Socket {
    const onread = {
      buffer: Buffer.allocUnsafe(readBytesMax),
      callback: (size: number, buffer: Uint8Array): boolean => {
        this.deliver(buffer.subarray(0, size))
        return true
      },
    }
    const socket = connect({ host: this.#host, port: this.#port, noDelay: true, keepAlive: true,
      keepAliveInitialDelay: keepAliveMs, onread })
    // The other side closing its half is the end: an instrument that will not read is no instrument.
    socket.once('end', () => this.#lost())
    this.#socket = socket
    return socket
  }

  #lost(error?: Error): void {
    this.ended(this.down(error ?? new Error('closed by the other side')))
    this.#socket?.destroy()
  }
}

function openError(url: string, error: Error & { code?: string }): BenchError {
  const why = error.code === 'ECONNREFUSED' ? 'nothing listens there (connection refused)' : error.message
  return new BenchError('LINK_OPEN', `cannot open ${url}: ${why}`, {}, error)
}
