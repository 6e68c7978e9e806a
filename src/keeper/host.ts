/**
 * The thin shell around the keeper machine: it feeds the machine what happens, and does what the machine says
 * with the sessions it owns. The same host runs inside the daemon in virtual time and inside the keeper's own
 * process.
 */
import type { Cancel, Clock } from '../base/clock.ts'
import { asBenchError, BenchError, hasCode } from '../base/errors.ts'
import type { SafeOffReport } from '../schema/application.ts'
import type { CallOptions, WriteOptions } from '../scpi/port.ts'
import {
  beatDueMs, initialKeeper, stepKeeper,
  type KeeperEffect, type KeeperInput, type KeeperMode, type KeeperState,
} from './machine.ts'
import { carryOut, type KeeperSession, type SafeOffLimits } from './safe-off.ts'
import type { Refresh, SafeOffTable } from './table.ts'

export type { KeeperSession } from './safe-off.ts'

export type KeeperEvent =
  | { type: 'mode'; mode: KeeperMode }
  | { type: 'safe-off'; report: SafeOffReport }
  /** The keeper's process ended; only its client says so. */
  | { type: 'gone'; why: string }

export interface KeeperHostOptions {
  /** Energy links by name. */
  sessions: ReadonlyMap<string, KeeperSession>
  /** Real time on a real or led bench: heartbeat and bounds. */
  livenessClock: Clock
  /** The bench's time: refresh, stamps, gaps. */
  benchClock: Clock
  /** One entry a line of the keeper's own log. Must not throw. */
  log: (what: string, detail: object) => void
  limits?: Partial<SafeOffLimits>
}

export class KeeperHost {
  readonly #options: KeeperHostOptions
  #state: KeeperState = initialKeeper
  #listeners = new Set<(event: KeeperEvent) => void>()
  #safing: Promise<SafeOffReport> | null = null
  #cancelTick: Cancel | null = null
  #tickDueMs: number | null = null
  /** By link. */
  readonly #cancelRefresh = new Map<string, Cancel>()
  readonly #refreshing = new Set<string>()

  constructor(options: KeeperHostOptions) { this.#options = options }

  get mode(): KeeperMode { return this.#state.mode }
  /**
   * Calls `listener` for every event until the returned function is called. A throwing listener harms nobody.
   */
  onEvent(listener: (event: KeeperEvent) => void): () => void {
    this.#listeners.add(listener)
    return () => { this.#listeners.delete(listener) }
  }

  /**
   * One query through the keeper; the link is opened first where it is not. Rejects TRIPPED after a safe-off
   * began.
   */
  query(link: string, command: string, options?: CallOptions): Promise<string> {
    const session = this.#admit(link, 'query', command)
    if (session instanceof BenchError) return Promise.reject(session)
    const call = isOpen(session) ? session.query(command, options)
      : this.#connected(link, session, 'query', command).then(() => session.query(command, options))
    return call.catch((error: unknown) => this.#failed(link, error))
  }

  /**
   * One command through the keeper. Rejects TRIPPED after a safe-off began, unless it stands in the table.
   */
  write(link: string, command: string, options?: WriteOptions): Promise<void> {
    const session = this.#admit(link, 'write', command)
    if (session instanceof BenchError) return Promise.reject(session)
    const call = isOpen(session) ? session.write(command, options)
      : this.#connected(link, session, 'write', command).then(() => session.write(command, options))
    return call.catch((error: unknown) => this.#failed(link, error))
  }

  configure(table: SafeOffTable, firstSafeOff = false): void {
    this.#ask({ type: 'configure', table, firstSafeOff })
  }
  /**
   * Throws REFUSED or TRIPPED. From here on every energy link stays up, and fresh beats come within
   * `beatLimitMs`.
   */
  arm(table: SafeOffTable, beatLimitMs: number): void {
    for (const { link } of table.phases.flatMap(phase => phase.steps)) {
      const session = this.#options.sessions.get(link)
      if (session === undefined) {
        throw new BenchError('REFUSED', `the keeper does not own ${link}, which is to be made safe`)
      }
      if (!isOpen(session)) {
        throw new BenchError('REFUSED', `the link to ${link}, which is to be made safe, is not open`)
      }
    }
    this.#ask({ type: 'arm', table, beatLimitMs })
  }
  beat(fresh: boolean): void { this.#feed({ type: 'beat', fresh }) }
  disarm(): void { this.#ask({ type: 'disarm' }) }
  reset(): void { this.#ask({ type: 'reset' }) }
  daemonGone(): Promise<SafeOffReport> { return this.#safeOff({ type: 'daemon-gone' }) }
  malformed(what: string): Promise<SafeOffReport> { return this.#safeOff({ type: 'malformed', what }) }
  linkLost(link: string): void { this.#feed({ type: 'link-lost', link }) }
  /** Makes the bench safe now, or joins the safe-off that is under way. Never rejects. */
  safeOff(reason: string, by: string): Promise<SafeOffReport> {
    return this.#safeOff({ type: 'stop', by, reason })
  }

  /** Waits for a safe-off under way, then lets go of all links. */
  async close(): Promise<void> {
    if (this.#state.mode === 'armed') await this.safeOff('the keeper is closed while armed', 'the keeper')
    await this.#safing
    this.#cancelTick?.()
    this.#endRefreshes()
    await Promise.all([...this.#options.sessions.values()].map(session => session.close()))
  }

  // ---- the machine ----

  #feed(input: KeeperInput): readonly KeeperEffect[] {
    const before = this.#state
    const step = stepKeeper(before, input, this.#options.livenessClock.monotonicMs())
    this.#state = step.state
    if (step.state !== before) this.#watch(input)
    for (const effect of step.effects) this.#act(effect)
    return step.effects
  }

  #ask(input: KeeperInput): void {
    this.#options.log(input.type, 'beatLimitMs' in input ? { beatLimitMs: input.beatLimitMs } : {})
    const refused = refusalIn(this.#feed(input))
    if (refused !== null) throw refused
  }

  #safeOff(input: KeeperInput): Promise<SafeOffReport> {
    this.#feed(input)
    return this.#safing!
  }

  #act(effect: KeeperEffect): void {
    switch (effect.do) {
      case 'accept': case 'refuse': return
      case 'refresh': return this.#refresh(effect.link, effect.command)
      case 'mode':
        this.#options.log('mode', { mode: effect.mode })
        return this.#tell({ type: 'mode', mode: effect.mode })
      case 'safe-off': this.#safing = this.#carryOut(effect.reason, effect.table)
    }
  }

  async #carryOut(reason: string, table: SafeOffTable): Promise<SafeOffReport> {
    const report = await carryOut({ ...this.#options, table, reason })
    this.#options.log('safe-off', report)
    this.#feed({ type: 'safe-off-done', report })
    this.#tell({ type: 'safe-off', report })
    return report
  }

  #tell(event: KeeperEvent): void {
    for (const listener of this.#listeners) {
      try { listener(event) } catch (error) {
        this.#options.log('listener', { error: asBenchError(error).message })
      }
    }
  }

  // ---- exchanges ----

  #admit(link: string, kind: 'query' | 'write', command: string): KeeperSession | BenchError {
    const session = this.#options.sessions.get(link)
    if (session === undefined) {
      return new BenchError('LINK_DOWN', 'the keeper does not own this link', { instrument: link })
    }
    if (command === '' || command.includes('\n') || command.includes('\r')) {
      return new BenchError('USAGE', 'a command is one line', { instrument: link, command })
    }
    // A link that went down while armed is noticed, though nobody said so: the stop comes before a new link.
    if (this.#state.mode === 'armed' && !isOpen(session)) this.linkLost(link)
    const effects = this.#feed({ type: 'exchange', link, kind, command })
    if (effects.length === 1 && effects[0]!.do === 'accept') return session
    return refusalIn(effects) ?? session
  }

  /** The machine is asked again once the link is open: a safe-off may have come between. */
  async #connected(
    link: string, session: KeeperSession, kind: 'query' | 'write', command: string
  ): Promise<void> {
    await session.connect()
    const again = this.#admit(link, kind, command)
    if (again instanceof BenchError) throw again
  }

  #failed(link: string, error: unknown): never {
    if (isLost(error)) this.linkLost(link)
    throw error
  }

  // ---- timers ----

  #watch(input: KeeperInput): void {
    const dueMs = beatDueMs(this.#state)
    const beaten = input.type === 'beat' && dueMs !== null && this.#tickDueMs !== null
    // A beat only moves the limit on; the timer that is set finds that out by itself.
    if (!beaten) this.#setTick(dueMs)
    if (this.#state.mode !== 'armed') return this.#endRefreshes()
    for (const refresh of this.#state.table.refreshes) {
      if (!this.#cancelRefresh.has(refresh.link)) this.#setRefresh(refresh)
    }
  }

  #setTick(dueMs: number | null): void {
    this.#cancelTick?.()
    this.#cancelTick = null
    this.#tickDueMs = dueMs
    if (dueMs === null) return
    const clock = this.#options.livenessClock
    this.#cancelTick = clock.after(dueMs - clock.monotonicMs(), () => {
      this.#cancelTick = null
      this.#feed({ type: 'tick' })
      this.#setTick(beatDueMs(this.#state))
    })
  }

  #setRefresh(refresh: Refresh): void {
    const { link, everyMs } = refresh
    this.#cancelRefresh.set(link, this.#options.benchClock.after(everyMs, () => {
      this.#setRefresh(refresh)
      this.#feed({ type: 'refresh-due', link })
    }))
  }

  #endRefreshes(): void {
    for (const cancel of this.#cancelRefresh.values()) cancel()
    this.#cancelRefresh.clear()
  }

  /**
   * Never waits for the last one: a refresh that hangs is not repeated behind it, and that contactor drops.
   */
  #refresh(link: string, command: string): void {
    const session = this.#options.sessions.get(link)
    if (this.#refreshing.has(link) || session === undefined) return
    this.#refreshing.add(link)
    session.write(command, { check: false })
      .catch((error: unknown) => {
        this.#options.log('refresh', { link, error: asBenchError(error).message })
        if (isLost(error)) this.linkLost(link)
      })
      .finally(() => { this.#refreshing.delete(link) })
  }
}

const isOpen = (session: KeeperSession): boolean => session.state !== 'down' && session.state !== 'connecting'

/** A link with too many waiting callers is busy, not lost. */
const isLost = (error: unknown): boolean => hasCode(error, 'LINK_DOWN', 'LINK_OPEN', 'LINK_OVERFLOW')

function refusalIn(effects: readonly KeeperEffect[]): BenchError | null {
  for (const effect of effects) if (effect.do === 'refuse') return new BenchError(effect.code, effect.why)
  return null
}
