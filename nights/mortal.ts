/**
 * Processes that can be killed, in virtual time: a life, and a clock, links and a keeper that end with it. Whoever is
 * dead gets no timer, no byte and no answer any more, and so never acts again; nothing of it is told.
 */
import { BenchError } from '../src/base/errors.ts'
import type { Cancel, Clock } from '../src/base/clock.ts'
import type { Keeper, KeeperEvent } from '../src/keeper/client.ts'
import type { KeeperHost } from '../src/keeper/host.ts'
import type { ScpiPort } from '../src/scpi/port.ts'
import type { Transport } from '../src/transport/transport.ts'

export class Life {
  alive = true
  /** Stands still (SIGSTOP): like dead, but its links and pipes stay open. */
  stopped = false
  #ends: (() => void)[] = []

  get acts(): boolean { return this.alive && !this.stopped }
  onEnd(action: () => void): void { this.#ends.push(action) }
  end(): void {
    if (!this.alive) return
    this.alive = false
    for (const action of this.#ends.splice(0)) action()
  }
}

export const mortalClock = (clock: Clock, life: Life): Clock => ({
  monotonicMs: () => clock.monotonicMs(), wallMs: () => clock.wallMs(), hold: () => clock.hold(),
  after: (ms, action) => clock.after(ms, () => { if (life.acts) action() }),
})

/** The kernel closes the link of a process that ended; the instrument sees that, the process does not. */
export function mortalTransport(inner: Transport, life: Life): Transport {
  life.onEnd(() => { void inner.close() })
  return {
    url: inner.url,
    get up() { return inner.up },
    open: signal => inner.open(signal),
    write: bytes => inner.write(bytes),
    onBytes: listener => inner.onBytes(chunk => { if (life.acts) listener(chunk) }),
    onClose: listener => inner.onClose(error => { if (life.acts) listener(error) }),
    clear: async () => { await inner.clear?.() },
    close: () => inner.close(),
  }
}

const gone = (): BenchError => new BenchError('KEEPER_GONE', 'the keeper is gone: it was killed')

/** The daemon's side of a keeper that runs in a process of its own: a pipe between two lives. */
export function pipedKeeper(
  host: KeeperHost, keeper: Life, daemon: Life, { pid, clock }: { pid: number; clock: Clock },
): Keeper & { readonly pid: number } {
  const pending = new Set<(error: Error) => void>()
  const listeners = new Set<(event: KeeperEvent) => void>()
  let beatLimitMs = Infinity
  /** When the oldest beat was sent that was not echoed; null when all were. */
  let unansweredMs: number | null = null
  const tell = (event: KeeperEvent): void => { if (daemon.acts) for (const listener of listeners) listener(event) }
  host.onEvent(event => { if (keeper.acts) tell(event) })
  keeper.onEnd(() => {
    tell({ type: 'gone', why: 'it was killed' })
    if (daemon.acts) for (const reject of pending) reject(gone())
    pending.clear()
  })
  daemon.onEnd(() => { if (keeper.acts) void host.daemonGone() })
  const call = <T>(work: () => T | Promise<T>): Promise<T> => new Promise((resolve, reject) => {
    if (!keeper.alive) return reject(gone())
    const end = <V>(then: (value: V) => void) => (value: V): void => {
      // Of a keeper that stands still nothing comes back: its end is what ends the wait.
      if (!keeper.acts) return
      pending.delete(reject)
      if (daemon.acts) then(value)
    }
    pending.add(reject)
    Promise.resolve().then(work).then(end(resolve), end(reject))
  })
  const port = (link: string): ScpiPort => ({
    name: link,
    query: (command, options) => call(() => host.query(link, command, options)),
    write: (command, options) => call(() => host.write(link, command, options)),
  })
  return {
    pid, port,
    configure: (table, first) => call(() => host.configure(table, first)),
    arm: (table, limitMs) => { beatLimitMs = limitMs; return call(() => host.arm(table, limitMs)) },
    // A keeper that does not echo a beat in time is killed, as the real client does.
    beat: fresh => {
      const nowMs = clock.monotonicMs()
      if (keeper.acts) { unansweredMs = null; host.beat(fresh) }
      else if (nowMs - (unansweredMs ??= nowMs) >= beatLimitMs) keeper.end()
    },
    disarm: () => call(() => host.disarm()),
    reset: () => call(() => host.reset()),
    safeOff: reason => {
      // Sent in the same turn, as a write to the pipe is.
      const report = keeper.acts ? host.safeOff(reason, 'the daemon') : Promise.reject(gone())
      return call(() => report)
    },
    mode: () => keeper.alive ? host.mode : 'gone',
    onEvent: (listener): Cancel => { listeners.add(listener); return () => { listeners.delete(listener) } },
    close: () => call(() => host.close()),
  }
}
