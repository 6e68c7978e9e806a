/**
 * A USBTMC character device, in a child process of its own: a read blocks a thread of Node's pool until the
 * device answers, and four such reads would stop every serial write of this process.
 */
import { type ChildProcess, fork } from 'node:child_process'
import { BenchError } from '../base/errors.ts'
import { builtEntry } from '../base/paths.ts'
import type { Transport } from './transport.ts'
import { LinkEnd } from './transport.ts'
import type { FromChild, ToChild } from './usbtmc-protocol.ts'
import { asksForAnswer } from './usbtmc-protocol.ts'

export class UsbtmcTransport extends LinkEnd implements Transport {
  readonly #path: string
  #child: ChildProcess | null = null
  #opened: { resolve: () => void; reject: (error: Error) => void } | null = null
  #cleared: (() => void) | null = null
  /** A message may come in several writes; it is a query or not as a whole. */
  #message = ''

  constructor(url: string, path: string) {
    super(url)
    this.#path = path
  }

  open(signal?: AbortSignal): Promise<void> {
    this.opening()
    return new Promise<void>((resolve, reject) => {
      if (signal?.aborted) { this.state = 'closed'; return reject(signal.reason as Error) }
      const onAbort = (): void => { this.#opened?.reject(signal!.reason as Error); void this.close() }
      const settle = (): void => { signal?.removeEventListener('abort', onAbort); this.#opened = null }
      this.#opened = {
        resolve: () => { settle(); resolve() },
        reject: error => { settle(); this.state = 'closed'; reject(error) },
      }
      signal?.addEventListener('abort', onAbort, { once: true })
      this.#start()
    })
  }

  write(bytes: string | Uint8Array): void {
    if (this.state !== 'up') throw this.down()
    const data = typeof bytes === 'string' ? Buffer.from(bytes, 'latin1') : Buffer.from(bytes)
    this.#message += data.toString('latin1')
    const read = this.#message.endsWith('\n') && asksForAnswer(this.#message)
    if (this.#message.endsWith('\n')) this.#message = ''
    this.#send({ do: 'write', bytes: data, read })
  }

  /** Device clear. Resolves when it was sent, or could not be. */
  clear(): Promise<void> {
    if (this.state !== 'up') return Promise.reject(this.down())
    this.#message = ''
    return new Promise(resolve => {
      this.#cleared = resolve
      this.#send({ do: 'clear' })
    })
  }

  async close(): Promise<void> {
    this.#opened?.reject(this.down())
    this.ended(null)
    this.#cleared?.()
    const child = this.#child
    if (child === null || child.exitCode !== null || child.signalCode !== null) return
    await new Promise<void>(resolve => {
      child.once('exit', () => resolve())
      // A child that sits in a blocking read hears nothing else.
      child.kill('SIGKILL')
    })
  }

  #start(): void {
    const child = fork(builtEntry('src/transport/usbtmc-child'), [], {
      serialization: 'advanced', stdio: ['ignore', 'ignore', 'inherit', 'ipc'], execArgv: [],
    })
    this.#child = child
    child.on('message', message => this.#onMessage(message as FromChild))
    child.once('error', error => this.#lost(error))
    child.once('exit', code => this.#lost(new Error(`its process ended with ${code ?? 'a signal'}`)))
    this.#send({ do: 'open', path: this.#path })
  }

  #send(message: ToChild): void {
    this.#child!.send(message, error => { if (error) this.#lost(error) })
  }

  #onMessage(message: FromChild): void {
    switch (message.is) {
      case 'open':
        if (this.state !== 'opening') return
        this.state = 'up'
        return this.#opened?.resolve()
      case 'bytes': return this.deliver(message.bytes)
      case 'cleared': return this.#cleared?.()
      // A read that took too long is seen by the deadline of whoever asked.
      case 'fault': if (message.gone) this.#lost(new Error(message.message), message.code)
    }
  }

  #lost(cause: Error, code = ''): void {
    if (this.#opened) {
      this.#opened.reject(code === 'EBUSY'
        ? new BenchError('LINK_BUSY', `${this.url} is held by another program`, {}, cause)
        : new BenchError('LINK_OPEN', `cannot open ${this.url}: ${cause.message}`, {}, cause))
    }
    this.ended(this.down(cause))
    this.#cleared?.()
    this.#child?.kill('SIGKILL')
  }
}
