/**
 * Bench time that the bench itself owns. It stands still until everyone who lives by it says "nothing in
 * flight, my next timer is at …"; then it moves to the earliest of those, running the instruments' own timers
 * on the way. docs/simulated-bench-time.md describes the lines that go over the link.
 */
import { createServer, type AddressInfo, type Server, type Socket } from 'node:net'
import { TimerHeap, type Cancel, type Clock } from '../../src/base/clock.ts'
import { listening } from './links.ts'

/** A clock that moves only when it is told to. */
export class LedTime implements Clock {
  #nowMs = 0
  readonly #wallStartMs: number
  readonly #timers = new TimerHeap()
  #holds = 0
  /** Called when the last hold is released. */
  onReleased: () => void = () => {}

  constructor(wallStartMs: number) { this.#wallStartMs = wallStartMs }

  /** Something of the bench itself is in flight: time stands. */
  get held(): boolean { return this.#holds > 0 }

  monotonicMs(): number { return this.#nowMs }
  wallMs(): number { return this.#wallStartMs + this.#nowMs }
  after(delayMs: number, action: () => void): Cancel {
    return this.#timers.add(this.#nowMs + Math.max(0, delayMs), action)
  }
  hold(): Cancel {
    this.#holds++
    let isHeld = true
    return () => {
      if (!isHeld) return
      isHeld = false
      if (--this.#holds === 0) this.onReleased()
    }
  }

  /** Runs every timer due up to `untilMs`, each at its own time, and then stands there. */
  advanceTo(untilMs: number): void {
    for (;;) {
      const dueMs = this.#timers.nextDueMs()
      if (dueMs === undefined || dueMs > untilMs) break
      this.#nowMs = Math.max(this.#nowMs, dueMs)
      this.#timers.take()?.()
    }
    this.#nowMs = Math.max(this.#nowMs, untilMs)
  }
}

interface Client { socket: Socket; name: string; idle: boolean; nextMs: number | null; partial: string }

/** What a client may say, one JSON object a line. */
type Line = { hello: string } | { idle: number; next: number | null } | { busy: true }

const lineBytesMax = 4096

export class TimeServer {
  readonly #time: LedTime
  readonly #server: Server
  readonly #clients = new Set<Client>()
  #seq = 0
  #checking = false
  /** Number of advances so far. */
  get advances(): number { return this.#seq }
  get clients(): string[] { return [...this.#clients].map(client => client.name) }

  constructor(time: LedTime) {
    this.#time = time
    time.onReleased = () => this.#considerSoon()
    this.#server = createServer({ noDelay: true }, socket => this.#welcome(socket))
  }

  async listen(port = 0): Promise<string> {
    await listening(this.#server, port)
    return `tcp://127.0.0.1:${(this.#server.address() as AddressInfo).port}`
  }

  close(): void {
    this.#server.close()
    for (const { socket } of this.#clients) socket.destroy()
  }

  #welcome(socket: Socket): void {
    const client: Client = { socket, name: '', idle: false, nextMs: null, partial: '' }
    socket.setEncoding('latin1')
    socket.on('error', () => {})
    socket.on('close', () => { this.#clients.delete(client); this.#considerSoon() })
    socket.on('data', text => this.#hear(client, String(text)))
  }

  #hear(client: Client, text: string): void {
    const lines = (client.partial + text).split('\n')
    client.partial = lines.pop()!
    if (client.partial.length > lineBytesMax) { client.socket.destroy(); return }
    for (const line of lines) {
      const said = read(line)
      if (said === undefined) { client.socket.destroy(new Error('not a line of this protocol')); return }
      this.#take(client, said)
    }
  }

  #take(client: Client, said: Line): void {
    if ('hello' in said) {
      client.name = said.hello
      this.#clients.add(client)
      const nowMs = this.#time.monotonicMs()
      client.socket.write(`{"now":${nowMs},"n":${this.#seq},"wallMs":${this.#time.wallMs()}}\n`)
    } else if ('busy' in said) client.idle = false
    else if (said.idle === this.#seq) {
      client.idle = true
      client.nextMs = said.next
      this.#considerSoon()
    }
  }

  /**
   * Looks once everything that has already arrived on any socket is read: bytes to an instrument count before
   * idle.
   */
  #considerSoon(): void {
    if (this.#checking || !this.#allIdle()) return
    this.#checking = true
    setImmediate(() => { this.#checking = false; this.#consider() })
  }

  #allIdle(): boolean {
    if (this.#time.held) return false
    for (const client of this.#clients) if (!client.idle) return false
    return this.#clients.size > 0
  }

  #consider(): void {
    if (!this.#allIdle()) return
    let nextMs = Infinity
    for (const client of this.#clients) if (client.nextMs !== null) nextMs = Math.min(nextMs, client.nextMs)
    if (nextMs === Infinity) return
    this.#time.advanceTo(nextMs)
    this.#seq++
    const line = `{"now":${this.#time.monotonicMs()},"n":${this.#seq}}\n`
    for (const client of this.#clients) client.idle = false
    for (const client of this.#clients) client.socket.write(line)
  }
}

function read(line: string): Line | undefined {
  let said: unknown
  try { said = JSON.parse(line) } catch { return undefined }
  if (typeof said !== 'object' || said === null) return undefined
  if ('hello' in said && typeof said.hello === 'string') return { hello: said.hello }
  if ('busy' in said) return { busy: true }
  if (!('idle' in said && typeof said.idle === 'number' && 'next' in said)) return undefined
  if (said.next !== null && typeof said.next !== 'number') return undefined
  return { idle: said.idle, next: said.next }
}
