/**
 * The keeper's process around its host: sessions from URLs, the stop socket, the log, and the frames of the
 * daemon.
 */
import { rmSync } from 'node:fs'
import { createServer, type Socket } from 'node:net'
import { join } from 'node:path'
import { RealClock, type Clock } from '../base/clock.ts'
import { asBenchError } from '../base/errors.ts'
import { LedClock } from '../base/led-clock.ts'
import type { SafeOffReport } from '../schema/application.ts'
import { Session, type SessionOptions } from '../scpi/session.ts'
import { openTransport } from '../transport/open.ts'
import { KeeperHost, type KeeperSession } from './host.ts'
import { KeeperNote } from './last.ts'
import { keeperLog } from './log.ts'
import {
  asHotFrame, asOrder, packError, stopLine,
  type HotFrame, type KeeperStart, type LinkSettings, type Order, type Reply,
} from './protocol.ts'
import { stopPath } from './stop-path.ts'

const stopLineBytesMax = 4096

export class KeeperProcess {
  readonly host: KeeperHost
  readonly #note: KeeperNote | null
  readonly #send: (reply: Reply) => void
  readonly #leave: (exitCode: number) => void
  /** Stops whose answer is not out yet. */
  readonly #answering = new Set<Promise<void>>()

  private constructor(
    host: KeeperHost, note: KeeperNote | null,
    send: (reply: Reply) => void, leave: (exitCode: number) => void,
  ) {
    this.host = host
    this.#note = note
    this.#send = send
    this.#leave = leave
    host.onEvent(event => { note?.see(event); send(['v', event]) })
  }

  /** `leave` ends the process. Rejects when the led bench's time server cannot be reached. */
  static async start(
    start: KeeperStart, send: (reply: Reply) => void, leave: (exitCode: number) => void,
  ): Promise<KeeperProcess> {
    const liveness = new RealClock()
    const { dataFolder } = start
    const log = dataFolder === null ? () => {} : keeperLog(join(dataFolder, 'keeper.log'), liveness)
    let host: KeeperHost | null = null
    const bench = start.clock.kind === 'real' ? liveness
      : await LedClock.connect(
        start.clock.url, 'keeper', { onLost: () => void host?.malformed('the bench\'s time is lost') }
      )
    const sessions = new Map<string, KeeperSession>()
    for (const { name, url, settings } of start.links) {
      const lost = (): void => host?.linkLost(name)
      sessions.set(
        name, new Session(() => openTransport(url), sessionOptions(name, settings, bench, liveness, lost))
      )
    }
    host = new KeeperHost({ sessions, livenessClock: liveness, benchClock: bench, log })
    log('start', { pid: process.pid, links: [...sessions.keys()] })
    const note = dataFolder === null ? null : new KeeperNote(dataFolder, liveness, process.pid)
    const keeper = new KeeperProcess(host, note, send, leave)
    if (dataFolder !== null) await keeper.#listen(stopPath(dataFolder), log)
    return keeper
  }

  /** One message of the daemon. What is not understood to the letter makes the bench safe. */
  onMessage(raw: unknown): void {
    if (Array.isArray(raw)) {
      const frame = asHotFrame(raw)
      if (frame === null) return void this.host.malformed('an exchange that is none')
      return this.#exchange(frame)
    }
    const order = asOrder(raw)
    if (typeof order === 'string') return void this.host.malformed(order)
    if (order.do === 'start') return void this.host.malformed('a second start')
    if (order.do === 'close') return void this.host.close().then(() => {
      this.#note?.end()
      this.#leave(0)
    })
    this.#order(order).then(
      answer => this.#send(['a', order.id, answer]), error => this.#fail(order.id, error)
    )
  }

  #exchange(frame: HotFrame): void {
    if (frame[0] === 'b') {
      this.host.beat(frame[1] === 1)
      return this.#send(['b'])
    }
    const [kind, id, link, command, deadlineMs] = frame
    const limit = deadlineMs > 0 ? { deadlineMs } : undefined
    if (kind === 'q') {
      this.host.query(link, command, limit)
        .then(answer => this.#send(['a', id, answer]), error => this.#fail(id, error))
      return
    }
    const options = frame[5] < 0 ? limit : { ...limit, check: frame[5] === 1 }
    this.host.write(link, command, options)
      .then(() => this.#send(['a', id, null]), error => this.#fail(id, error))
  }

  async #order(order: Exclude<Order, { do: 'start' | 'close' }>): Promise<SafeOffReport | null> {
    switch (order.do) {
      case 'configure': this.host.configure(tableOf(order.table), order.firstSafeOff); return null
      case 'arm': this.host.arm(tableOf(order.table), order.beatLimitMs); return null
      case 'disarm': this.host.disarm(); return null
      case 'reset': this.host.reset(); return null
      case 'safe-off': return await this.host.safeOff(order.reason, 'the daemon')
    }
  }

  #fail(id: number, error: unknown): void { this.#send(['e', id, packError(error)]) }

  #listen(path: string, log: (what: string, detail: object) => void): Promise<void> {
    // Where a folder stands instead, listening fails, and is told as said below.
    if (process.platform !== 'win32') try { rmSync(path, { force: true }) } catch { /* as said */ }
    const server = createServer(socket => this.#onStop(socket))
    return new Promise(resolve => {
      // Without its stop socket a keeper still guards; the daemon's own stop works.
      server.on('error', error => { log('stop-socket', { error: error.message }); resolve() })
      server.listen(path, () => resolve())
    })
  }

  #onStop(socket: Socket): void {
    let text = ''
    socket.setEncoding('utf8')
    socket.on('error', () => {})
    socket.on('data', chunk => {
      text += String(chunk)
      const end = text.indexOf('\n')
      if (end < 0 && text.length <= stopLineBytesMax) return
      socket.removeAllListeners('data')
      const answering: Promise<void> = this.#stop(text.slice(0, end))
        .then(answer => new Promise<void>(resolve => {
          socket.once('close', () => resolve())
          socket.end(`${JSON.stringify(answer)}\n`, () => resolve())
        }))
        .finally(() => this.#answering.delete(answering))
      this.#answering.add(answering)
    })
  }

  async #stop(line: string): Promise<SafeOffReport | { error: string }> {
    try {
      const { stop, by } = stopLine.parse(JSON.parse(line))
      return await this.host.safeOff(stop, by)
    } catch (error) {
      return { error: asBenchError(error).message }
    }
  }

  /** Makes the bench safe, waits until it is read back, and lets go of everything. */
  async end(safeOff: Promise<SafeOffReport>): Promise<void> {
    await safeOff
    await this.host.close()
    // Answers to stops that came meanwhile go out before the process ends.
    await Promise.all(this.#answering)
    this.#note?.end()
  }
}

/** Zod's optional is "undefined allowed"; ours is "absent". JSON has no undefined, so nothing is changed. */
const tableOf = (table: (Order & { do: 'arm' })['table']): Parameters<KeeperHost['arm']>[0] =>
  table as Parameters<KeeperHost['arm']>[0]

function sessionOptions(
  name: string, settings: LinkSettings, clock: Clock, linkClock: Clock, lost: () => void,
): SessionOptions {
  const { ignoreLines, identity, ...plain } = settings
  const expected = identity?.expected
  return {
    ...plain as Omit<LinkSettings, 'ignoreLines' | 'identity'> & Pick<SessionOptions, 'errorQueue'>,
    ...(ignoreLines && { ignoreLines: ignoreLines.map(source => new RegExp(source)) }),
    ...(identity && { identity: { query: identity.query, ...(expected !== undefined && {
      expected: typeof expected === 'string' ? expected : new RegExp(expected.pattern) }) } }),
    name, clock, linkClock, onNotice: notice => { if (notice.what === 'down') lost() },
  } as SessionOptions
}
