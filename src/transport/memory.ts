/**
 * A link inside this process, to a simulated device given as a function. For virtual time: no handle, no I/O.
 */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { Transport } from './transport.ts'
import { LinkEnd } from './transport.ts'

export type Reply = (bytes: string | Uint8Array) => void

/**
 * The other end. `reply` may be called at once, later, or never; what it sends after the link ended is lost.
 */
export interface MemoryDevice {
  onBytes(chunk: Uint8Array, reply: Reply): void
  /** A link was opened; some devices greet. */
  onOpen?(reply: Reply): void
  /** The link ended, from either side. */
  onClose?(): void
  /** Break or device clear was received. */
  onClear?(): void
}

export interface MemoryLinkOptions {
  url?: string
  /** Delay of each reply in ms of the clock; 0 (the default) delivers inside write(). */
  latencyMs?: number
}

export interface MemoryLink {
  /** A new transport to the device; pass it as a session's `open`. */
  readonly open: () => Transport
  /** Ends the present link from the device's side, as an unplugged cable does. */
  unplug(): void
  /** While true, opening fails with LINK_OPEN. */
  refuse: boolean
}

/** A link to `device`; one transport at a time, like a port that locks. */
export function memoryLink(clock: Clock, device: MemoryDevice, options: MemoryLinkOptions = {}): MemoryLink {
  const url = options.url ?? 'memory:device'
  let current: MemoryTransport | null = null
  const link: MemoryLink = {
    refuse: false,
    open: () => new MemoryTransport(url, clock, device, options.latencyMs ?? 0, {
      taken: () => current !== null, refused: () => link.refuse,
      hold: transport => { current = transport }, release: () => { current = null },
    }),
    unplug: () => current?.unplug(),
  }
  return link
}

interface Port {
  taken(): boolean
  refused(): boolean
  hold(transport: MemoryTransport): void
  release(): void
}

class MemoryTransport extends LinkEnd implements Transport {
  #clock: Clock
  #device: MemoryDevice
  #latencyMs: number
  #port: Port
  #reply: Reply = bytes => {
    if (this.#latencyMs === 0) return this.#arrive(bytes)
    const sent = typeof bytes === 'string' ? bytes : bytes.slice()
    this.#clock.after(this.#latencyMs, () => this.#arrive(sent))
  }

  constructor(url: string, clock: Clock, device: MemoryDevice, latencyMs: number, port: Port) {
    super(url)
    this.#clock = clock
    this.#device = device
    this.#latencyMs = latencyMs
    this.#port = port
  }

  async open(signal?: AbortSignal): Promise<void> {
    this.opening()
    signal?.throwIfAborted()
    if (this.#port.refused()) throw new BenchError('LINK_OPEN', `cannot open ${this.url}`)
    if (this.#port.taken()) throw new BenchError('LINK_BUSY', `${this.url} is in use`)
    this.#port.hold(this)
    this.state = 'up'
    this.#device.onOpen?.(this.#reply)
  }

  write(bytes: string | Uint8Array): void {
    if (this.state !== 'up') throw this.down()
    this.#device.onBytes(typeof bytes === 'string' ? Buffer.from(bytes, 'latin1') : bytes, this.#reply)
  }

  async clear(): Promise<void> { this.#device.onClear?.() }
  async close(): Promise<void> { this.#leave(null) }
  unplug(): void { this.#leave(this.down()) }

  #arrive(bytes: string | Uint8Array): void {
    if (this.state === 'up') this.deliver(typeof bytes === 'string' ? Buffer.from(bytes, 'latin1') : bytes)
  }

  #leave(error: BenchError | null): void {
    if (this.state !== 'up') { this.state = 'closed'; return }
    this.#port.release()
    this.ended(error)
    this.#device.onClose?.()
  }
}
