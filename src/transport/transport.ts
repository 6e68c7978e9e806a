/**
 * What every link to an instrument looks like: bytes out, bytes in, and one end. No framing, no meaning.
 * A transport is single use: once closed it stays closed, and a new one is made. There is no reopened state.
 */
import { assert } from '../base/assert.ts'
import { BenchError } from '../base/errors.ts'

export interface Transport {
  /** The URL it was made from, for messages. */
  readonly url: string
  /** True between a successful open() and the end of the link. */
  readonly up: boolean
  /** Opens the link. Rejects with LINK_OPEN, LINK_BUSY, or the signal's reason. */
  open(signal?: AbortSignal): Promise<void>
  /**
   * Sends now; text goes out as latin1. Throws LINK_DOWN at once when the link is not
   * up: nothing is ever queued.
   */
  write(bytes: string | Uint8Array): void
  /** The one listener, called synchronously. The chunk is valid only during the call. */
  onBytes(listener: (chunk: Uint8Array) => void): void
  /**
   * Called once, when the link ends: with null after close(), with LINK_DOWN when the other side went away.
   */
  onClose(listener: (error: BenchError | null) => void): void
  /**
   * Resets the other side's interface (break on serial, device clear on USBTMC). Absent where there is none.
   */
  clear?(): Promise<void>
  /** Ends the link; resolves when it is released. Closing twice is harmless. */
  close(): Promise<void>
}

/** Listeners and the one-way life `new → up → closed`, shared by all transports. */
export abstract class LinkEnd {
  readonly url: string
  protected state: 'new' | 'opening' | 'up' | 'closed' = 'new'
  protected deliver: (chunk: Uint8Array) => void = () => {}
  #closed: (error: BenchError | null) => void = () => {}

  constructor(url: string) { this.url = url }

  get up(): boolean { return this.state === 'up' }
  onBytes(listener: (chunk: Uint8Array) => void): void { this.deliver = listener }
  onClose(listener: (error: BenchError | null) => void): void { this.#closed = listener }

  /** Call first in open(). */
  protected opening(): void {
    assert(this.state === 'new', `${this.url}: a transport is opened once; make a new one`)
    this.state = 'opening'
  }

  /**
   * Call when the link ends, as often as it is noticed; only the first call of a link that was up is told.
   */
  protected ended(error: BenchError | null): void {
    const wasUp = this.state === 'up'
    this.state = 'closed'
    this.deliver = () => {}
    if (wasUp) this.#closed(error)
  }

  protected down(cause?: unknown): BenchError {
    const why = cause instanceof Error ? `the link went down (${cause.message})` : 'the link is down'
    return new BenchError('LINK_DOWN', `${this.url}: ${why}`, {}, cause)
  }
}
