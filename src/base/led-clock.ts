/**
 * A clock that follows the time of a bench which is simulated as a whole. The time server moves on to the
 * next timer of anyone only when everyone is idle, so a simulated night passes as fast as the work in it.
 *
 * NDJSON over TCP. Client: {"hello":name}, then {"idle":n,"next":ms|null} when all work set going by turn n
 * has come to rest, and {"busy":true} before work that begins outside a turn. Server: {"now":ms,"n":turn},
 * with "wallMs":ms in its first.
 */
import { connect, type Socket } from 'node:net'
import { assert } from './assert.ts'
import { RealClock, TimerHeap, type Cancel, type Clock } from './clock.ts'
import { withDeadline } from './deadline.ts'
import { BenchError } from './errors.ts'

export interface LedClockOptions {
  /** Called once when the server is gone. Time then stands still for ever: end what depends on it. */
  onLost: (error: BenchError) => void
  /** Real ms in which the first time must arrive. */
  connectMs?: number
}

const lineBytesMax = 4096

export class LedClock implements Clock {
  readonly #socket: Socket
  readonly #timers = new TimerHeap()
  readonly #onLost: (error: BenchError) => void
  #nowMs = 0
  /** Wall minus bench time; the first time that arrives brings it. */
  #wallOffsetMs: number | null = null
  #turn = -1
  #holds = 0
  /** Counts whatever may keep us from being idle; a turn of the event loop without a change is rest. */
  #activity = 0
  #idle = false
  #settling = false
  #pumping = false
  #over = false
  #text = ''
  #onFirst: ((error: BenchError | null) => void) | null = null

  private constructor(socket: Socket, onLost: (error: BenchError) => void) {
    this.#socket = socket
    this.#onLost = onLost
    socket.setEncoding('utf8')
    socket.on('data', chunk => this.#onText(String(chunk)))
    socket.on('error', error => this.#lost(error))
    socket.on('close', () => this.#lost())
  }

  /**
   * Joins the server at `tcp://host:port` as `name`, and resolves with its time. Rejects LINK_URL, LINK_OPEN,
   * LINK_TIMEOUT.
   */
  static async connect(url: string, name: string, options: LedClockOptions): Promise<LedClock> {
    const parts = /^tcp:\/\/([^:/]+|\[[^\]]+\]):(\d+)$/.exec(url)
    if (parts === null) {
      throw new BenchError('LINK_URL', 'a time server is tcp://host:port', { got: url, expected: 'tcp' })
    }
    const socket = connect({ host: parts[1]!.replace(/^\[|\]$/g, ''), port: Number(parts[2]), noDelay: true })
    const clock = new LedClock(socket, options.onLost)
    socket.on('connect', () => clock.#say({ hello: name }))
    try {
      await withDeadline(new RealClock(), options.connectMs ?? 10_000, `the time server at ${url}`, () =>
        new Promise<void>((resolve, reject) => {
          clock.#onFirst = error => error === null ? resolve() : reject(error)
        }))
    } catch (error) {
      clock.close()
      throw error
    }
    return clock
  }

  monotonicMs(): number { return this.#nowMs }
  wallMs(): number { return this.#nowMs + (this.#wallOffsetMs ?? 0) }

  after(delayMs: number, action: () => void): Cancel {
    const cancel = this.#timers.add(this.#nowMs + Math.max(0, delayMs), action)
    this.#begin()
    return cancel
  }

  hold(): Cancel {
    let held = true
    this.#holds++
    this.#begin()
    return () => {
      if (!held) return
      held = false
      this.#holds--
      assert(this.#holds >= 0, 'a hold is released once')
      this.#begin()
    }
  }

  /** Leaves the server; time stands still from here on. */
  close(): void {
    this.#over = true
    this.#socket.destroy()
  }

  // ---- being idle ----

  /** Something begins or changes: take back an idle that was said, and look for rest anew. */
  #begin(): void {
    this.#activity++
    if (this.#idle) {
      this.#idle = false
      this.#say({ busy: true })
    }
    this.#settle()
  }

  #settle(): void {
    if (this.#settling || this.#over) return
    this.#settling = true
    this.#look(this.#activity)
  }

  #look(seen: number): void {
    setImmediate(() => {
      if (this.#over) return
      if (this.#activity !== seen || this.#pumping) return this.#look(this.#activity)
      this.#settling = false
      if ((this.#timers.nextDueMs() ?? Infinity) <= this.#nowMs) return this.#pump()
      if (this.#holds > 0 || this.#idle || this.#turn < 0) return
      this.#idle = true
      this.#say({ idle: this.#turn, next: this.#timers.nextDueMs() ?? null })
    })
  }

  // ---- time ----

  #onText(chunk: string): void {
    this.#text += chunk
    for (let end = this.#text.indexOf('\n'); end >= 0; end = this.#text.indexOf('\n')) {
      const line = this.#text.slice(0, end)
      this.#text = this.#text.slice(end + 1)
      if (line.trim() !== '') this.#onLine(line)
    }
    if (this.#text.length > lineBytesMax) this.#lost(new Error('its line has no end'))
  }

  #onLine(line: string): void {
    if (this.#over) return
    const said = parseNow(line)
    if (said === null || (said.wallMs === null && this.#wallOffsetMs === null)) {
      return this.#lost(new Error(`it said ${line.slice(0, 80)}`))
    }
    this.#nowMs = Math.max(this.#nowMs, said.now)
    if (said.wallMs !== null) this.#wallOffsetMs = said.wallMs - said.now
    this.#turn = said.n
    this.#idle = false
    this.#activity++
    this.#onFirst?.(null)
    this.#onFirst = null
    this.#pump()
  }

  /** Runs what is due, each timer only after all consequences of the one before it have come to rest. */
  #pump(): void {
    if (this.#pumping) return
    this.#pumping = true
    const next = (): void => {
      if (this.#over || (this.#timers.nextDueMs() ?? Infinity) > this.#nowMs) {
        this.#pumping = false
        return this.#settle()
      }
      queueMicrotask(() => process.nextTick(next))
      this.#timers.take()?.()
    }
    next()
  }

  #say(message: object): void {
    if (!this.#over && this.#socket.writable) this.#socket.write(`${JSON.stringify(message)}\n`)
  }

  #lost(cause?: Error): void {
    if (this.#over) return
    this.close()
    const why = cause === undefined ? 'it closed the connection' : cause.message
    if (this.#onFirst !== null) {
      return this.#onFirst(new BenchError('LINK_OPEN', `the time server cannot be joined: ${why}`, {}, cause))
    }
    this.#onLost(new BenchError('LINK_DOWN', `the time server is lost: ${why}`, {}, cause))
  }
}

function parseNow(line: string): { now: number; wallMs: number | null; n: number } | null {
  try {
    const said = JSON.parse(line) as Partial<Record<'now' | 'wallMs' | 'n', unknown>>
    const { now, wallMs = null, n } = said
    return Number.isFinite(now) && (wallMs === null || Number.isFinite(wallMs)) && Number.isInteger(n)
      ? { now: now as number, wallMs: wallMs as number | null, n: n as number } : null
  } catch {
    return null
  }
}
