/** The daemon's side of the keeper: one interface, whether the host runs in this process or in its own. */
import { spawn, type ChildProcess } from 'node:child_process'
import type { Duplex } from 'node:stream'
import { asBenchError, BenchError } from '../base/errors.ts'
import type { Cancel, Clock } from '../base/clock.ts'
import { builtEntry } from '../base/paths.ts'
import type { SafeOffReport } from '../schema/application.ts'
import type { ScpiPort, WriteOptions } from '../scpi/port.ts'
import { channelFd, openChannel, type Channel } from './channel.ts'
import type { KeeperEvent, KeeperHost } from './host.ts'
import type { KeeperMode } from './machine.ts'
import { unpackError, type HotFrame, type KeeperStart, type Order, type Reply } from './protocol.ts'
import type { SafeOffTable } from './table.ts'

export type { KeeperEvent } from './host.ts'

export interface Keeper {
  /**
   * Whole exchanges through the keeper. Calls reject as a session's do, with TRIPPED, and with KEEPER_GONE.
   */
  port(link: string): ScpiPort
  /**
   * Gives the table of the bench. `firstSafeOff`: make the bench safe at once, as a start and a restart must.
   */
  configure(table: SafeOffTable, firstSafeOff?: boolean): Promise<void>
  arm(table: SafeOffTable, beatLimitMs: number): Promise<void>
  /** `fresh`: every watched reading is fresh. A stale beat feeds nothing. */
  beat(fresh: boolean): void
  disarm(): Promise<void>
  /** A person has acknowledged; rejects while the bench is not made safe yet. */
  reset(): Promise<void>
  /** Resolves when off commands are out and read back. Rejects only with KEEPER_GONE. */
  safeOff(reason: string): Promise<SafeOffReport>
  mode(): KeeperMode | 'gone'
  onEvent(listener: (event: KeeperEvent) => void): Cancel
  /** Lets the keeper go; makes the bench safe first when it is armed. */
  close(): Promise<void>
}

/** A keeper in this process, for virtual time. */
export function inlineKeeper(host: KeeperHost): Keeper {
  return {
    port: link => ({
      name: link,
      query: (command, options) => host.query(link, command, options),
      write: (command, options) => host.write(link, command, options),
    }),
    configure: async (table, firstSafeOff) => host.configure(table, firstSafeOff),
    arm: async (table, beatLimitMs) => host.arm(table, beatLimitMs),
    beat: fresh => host.beat(fresh),
    disarm: async () => host.disarm(),
    reset: async () => host.reset(),
    safeOff: reason => host.safeOff(reason, 'the daemon'),
    mode: () => host.mode,
    onEvent: listener => host.onEvent(listener),
    close: () => host.close(),
  }
}

export interface ForkOptions extends Omit<KeeperStart, 'do'> {
  /** Held while something is in flight; bounds use `livenessClock`. */
  benchClock: Clock
  /** Real time. */
  livenessClock: Clock
  /**
   * Longest time for a start, an order or a safe-off, in ms, before the process counts as gone and is killed.
   */
  orderMs?: number
}

/** Starts a keeper process, and resolves when it takes orders. Rejects KEEPER_GONE when it does not start. */
export async function forkKeeper(options: ForkOptions): Promise<Keeper & { readonly pid: number }> {
  // Its own process group: a Ctrl-C or a kill of the daemon's group must not take the watchdog with it.
  const child = spawn(process.execPath, [builtEntry('src/keeper/main')], {
    stdio: ['ignore', 'ignore', 'ignore', 'overlapped'], detached: true, windowsHide: true,
  })
  const keeper = new ForkedKeeper(child, options)
  const { links, dataFolder, clock } = options
  await keeper.start({ do: 'start', links, dataFolder, clock })
  return keeper
}

interface Pending { resolve: (answer: never) => void; reject: (error: Error) => void; release: Cancel }

type Asked = Exclude<Order, { do: 'start' | 'close' }>
type WithoutId<T> = T extends unknown ? Omit<T, 'id'> : never
const defaultOrderMs = 20_000

class ForkedKeeper implements Keeper {
  readonly #child: ChildProcess
  readonly #channel: Channel
  readonly #options: ForkOptions
  readonly #pending = new Map<number, Pending>()
  readonly #listeners = new Set<(event: KeeperEvent) => void>()
  #nextId = 1
  #mode: KeeperMode | 'gone' = 'idle'
  #closing = false
  #ready: () => void = () => {}
  #beatLimitMs = Infinity
  /** When the oldest beat that was not echoed was sent, monotonic; null when all were. */
  #unansweredMs: number | null = null
  readonly #ended: Promise<void>

  constructor(child: ChildProcess, options: ForkOptions) {
    this.#child = child
    this.#options = options
    this.#channel = openChannel(child.stdio[channelFd] as Duplex, {
      message: message => this.#onReply(message as Reply),
      malformed: what => this.#kill(`it sent ${what}`),
      gone: () => this.#gone('its channel closed'),
    })
    child.on('error', error => this.#gone(error.message))
    this.#ended = new Promise(resolve => child.on('exit', (code, signal) => {
      this.#gone(`it ended with ${signal ?? `exit code ${code}`}`)
      resolve()
    }))
  }

  get pid(): number { return this.#child.pid ?? 0 }

  start(message: KeeperStart): Promise<void> {
    return this.#bounded('start', new Promise<void>((resolve, reject) => {
      this.#ready = resolve
      this.#pending.set(0, { resolve: () => {}, reject, release: () => {} })
      this.#post(message)
    })).finally(() => this.#pending.delete(0))
  }

  port(link: string): ScpiPort {
    return {
      name: link,
      query: (command, options) => this.#exchange(
        ['q', this.#nextId++, link, command, options?.deadlineMs ?? 0]
      ),
      write: (command, options) => this.#exchange(
        ['w', this.#nextId++, link, command, options?.deadlineMs ?? 0, checkOf(options)]),
    }
  }

  async configure(table: SafeOffTable, firstSafeOff = false): Promise<void> {
    await this.#order(
      { do: 'configure', table: table as (Order & { do: 'configure' })['table'], firstSafeOff }
    )
  }

  async arm(table: SafeOffTable, beatLimitMs: number): Promise<void> {
    await this.#order({ do: 'arm', table: table as (Order & { do: 'arm' })['table'], beatLimitMs })
    this.#beatLimitMs = beatLimitMs
    this.#unansweredMs = null
  }

  beat(fresh: boolean): void {
    if (this.#mode === 'gone') return
    const nowMs = this.#options.livenessClock.monotonicMs()
    const silentMs = this.#unansweredMs === null ? 0 : nowMs - this.#unansweredMs
    if (this.#mode === 'armed' && silentMs >= this.#beatLimitMs) {
      return this.#kill(`it has not echoed a heartbeat for ${Math.round(silentMs)} ms`)
    }
    this.#unansweredMs ??= nowMs
    this.#post(['b', fresh ? 1 : 0])
  }

  async disarm(): Promise<void> { await this.#order({ do: 'disarm' }) }
  async reset(): Promise<void> { await this.#order({ do: 'reset' }) }
  /** Bench time goes on meanwhile: contacts need it to open before they can be read back as open. */
  safeOff(reason: string): Promise<SafeOffReport> {
    return this.#order({ do: 'safe-off', reason }, () => {})
  }
  mode(): KeeperMode | 'gone' { return this.#mode }
  onEvent(listener: (event: KeeperEvent) => void): Cancel {
    this.#listeners.add(listener)
    return () => { this.#listeners.delete(listener) }
  }

  async close(): Promise<void> {
    this.#closing = true
    if (this.#mode !== 'gone') this.#post({ do: 'close' })
    await this.#bounded('close', this.#ended)
  }

  // ---- out ----

  #exchange<T>(frame: HotFrame & { 1: number }): Promise<T> {
    return new Promise((resolve, reject) => {
      if (this.#mode === 'gone') return reject(goneError('it is not running'))
      this.#pending.set(frame[1], { resolve, reject, release: this.#options.benchClock.hold() })
      this.#post(frame)
    })
  }

  #order<T>(order: WithoutId<Asked>, release: Cancel = this.#options.benchClock.hold()): Promise<T> {
    const id = this.#nextId++
    return this.#bounded(order.do, new Promise<T>((resolve, reject) => {
      if (this.#mode === 'gone') { release(); return reject(goneError('it is not running')) }
      this.#pending.set(id, { resolve, reject, release })
      this.#post({ ...order, id })
    }))
  }

  #post(message: HotFrame | object): void { this.#channel.send(message) }

  /**
   * An order that hangs means a keeper that cannot guard: it is ended, so that a new one can make the bench
   * safe.
   */
  async #bounded<T>(what: string, work: Promise<T>): Promise<T> {
    const limitMs = this.#options.orderMs ?? defaultOrderMs
    const cancel = this.#options.livenessClock.after(
      limitMs, () => this.#kill(`${what} took more than ${limitMs} ms`)
    )
    try { return await work } finally { cancel() }
  }

  // ---- in ----

  #onReply(reply: Reply): void {
    switch (reply[0]) {
      case 'a': return this.#take(reply[1])?.resolve(reply[2] as never)
      case 'e': return this.#take(reply[1])?.reject(unpackError(reply[2]))
      case 'b': this.#unansweredMs = null; return
      case 'v': return this.#event(reply[1])
      case 'ready': return this.#ready()
    }
  }

  #take(id: number): Pending | undefined {
    const pending = this.#pending.get(id)
    this.#pending.delete(id)
    pending?.release()
    return pending
  }

  #event(event: KeeperEvent): void {
    if (this.#mode === 'gone') return
    if (event.type === 'mode') this.#mode = event.mode
    for (const listener of this.#listeners) {
      // Thrown on, but outside: neither the other listeners nor what is pending may suffer.
      try { listener(event) } catch (error) { queueMicrotask(() => { throw asBenchError(error) }) }
    }
  }

  #kill(why: string): void {
    this.#child.kill('SIGKILL')
    this.#gone(why)
  }

  #gone(why: string): void {
    if (this.#mode === 'gone') return
    if (!this.#closing) this.#event({ type: 'gone', why })
    this.#mode = 'gone'
    for (const { reject, release } of this.#pending.values()) { release(); reject(goneError(why)) }
    this.#pending.clear()
  }
}

const checkOf = (options: WriteOptions | undefined): number =>
  options?.check === undefined ? -1 : Number(options.check)
const goneError = (why: string): BenchError => new BenchError('KEEPER_GONE', `the keeper is gone: ${why}`)
