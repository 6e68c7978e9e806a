/**
 * A keeper that outlives its process: when one is gone, a new one is started whose first act is safe-off.
 * Ports and orders always go to the one that lives, so drivers need not know.
 */
import type { Cancel, Clock } from '../base/clock.ts'
import { withDeadline } from '../base/deadline.ts'
import { BenchError, hasCode } from '../base/errors.ts'
import type { Log } from '../base/log.ts'
import type { Keeper } from '../keeper/client.ts'
import type { KeeperEvent } from '../keeper/host.ts'
import type { KeeperMode } from '../keeper/machine.ts'
import type { SafeOffTable } from '../keeper/table.ts'
import type { SafeOffReport } from '../schema/application.ts'
import type { ScpiPort } from '../scpi/port.ts'

/** Pause before a further start, when a start failed or a fresh keeper died at once, in ms. */
const againAfterMs = 1000
/**
 * How long a safe-off waits for a new keeper; a start takes a second or two. A stop must not wait for ever.
 */
const newKeeperMs = 15_000

export interface KeeperSupply {
  /** Starts one keeper process. Rejects when it does not start. */
  start: () => Promise<Keeper & { readonly pid: number }>
  /** Bench time is held while no keeper lives. */
  benchClock: Clock
  /** Real time. */
  livenessClock: Clock
  log: Pick<Log, 'error' | 'warn'>
}

export class LastingKeeper implements Keeper {
  readonly #supply: KeeperSupply
  readonly #listeners = new Set<(event: KeeperEvent) => void>()
  #current: Keeper & { readonly pid: number }
  #table: SafeOffTable | null = null
  #startedMs = 0
  #restarting: Promise<void> | null = null
  #closing = false
  #endPause: () => void = () => {}

  private constructor(supply: KeeperSupply, first: Keeper & { readonly pid: number }) {
    this.#supply = supply
    this.#current = first
    this.#adopt(first)
  }

  /** Rejects when the first keeper does not start; later ones are tried again until one does. */
  static async start(supply: KeeperSupply): Promise<LastingKeeper> {
    return new LastingKeeper(supply, await supply.start())
  }

  /** Process id of the keeper that lives now, or lived last. */
  get pid(): number { return this.#current.pid }

  port(link: string): ScpiPort {
    return {
      name: link,
      query: (command, options) => this.#current.port(link).query(command, options),
      write: (command, options) => this.#current.port(link).write(command, options),
    }
  }

  async configure(table: SafeOffTable, firstSafeOff?: boolean): Promise<void> {
    this.#table = table
    await this.#current.configure(table, firstSafeOff)
  }

  async arm(table: SafeOffTable, beatLimitMs: number): Promise<void> {
    await this.#living().arm(table, beatLimitMs)
  }
  beat(fresh: boolean): void { this.#current.beat(fresh) }
  async disarm(): Promise<void> { await this.#living().disarm() }
  /** Rejects KEEPER_GONE also while a new keeper is starting: it has not made the bench safe yet. */
  async reset(): Promise<void> { await this.#living().reset() }

  /**
   * Waits for the new keeper where there is none, also where the one that was asked ends before it answers;
   * rejects KEEPER_GONE when none starts in time.
   */
  async safeOff(reason: string): Promise<SafeOffReport> {
    await this.#restarted()
    try {
      return await this.#current.safeOff(reason)
    } catch (error) {
      if (!hasCode(error, 'KEEPER_GONE') || !this.#restarting) throw error
      await this.#restarted()
      return await this.#current.safeOff(reason)
    }
  }

  async #restarted(): Promise<void> {
    const restarting = this.#restarting
    if (!restarting) return
    await withDeadline(this.#supply.livenessClock, newKeeperMs, 'a new keeper', () => restarting)
      .catch((error: unknown) => {
        throw new BenchError('KEEPER_GONE', 'no new keeper has started', {}, error)
      })
  }

  mode(): KeeperMode | 'gone' { return this.#restarting ? 'gone' : this.#current.mode() }

  onEvent(listener: (event: KeeperEvent) => void): Cancel {
    this.#listeners.add(listener)
    return () => { this.#listeners.delete(listener) }
  }

  async close(): Promise<void> {
    this.#closing = true
    this.#endPause()
    await this.#restarting?.catch(() => {})
    await this.#current.close()
  }

  #living(): Keeper {
    if (!this.#restarting) return this.#current
    throw new BenchError('KEEPER_GONE', 'a new keeper is starting; it has not made the bench safe yet')
  }

  #adopt(keeper: Keeper & { readonly pid: number }): void {
    this.#current = keeper
    this.#startedMs = this.#supply.livenessClock.monotonicMs()
    keeper.onEvent(event => {
      if (keeper !== this.#current) return
      if (event.type === 'gone' && !this.#closing && !this.#restarting) this.#replace(event.why)
      for (const listener of this.#listeners) {
        try { listener(event) } catch (error) {
          this.#supply.log.error({ err: error }, 'a listener of the keeper failed')
        }
      }
    })
  }

  /** Set before anybody hears of it: whoever asks for a safe-off then waits for the new keeper. */
  #replace(why: string): void {
    const release = this.#supply.benchClock.hold()
    const livedMs = this.#supply.livenessClock.monotonicMs() - this.#startedMs
    this.#supply.log.error({ why }, 'the keeper is gone; a new one is started')
    const restarting = this.#startAnother(livedMs < againAfterMs)
    this.#restarting = restarting
    restarting.catch(() => {}).finally(() => { this.#restarting = null; release() })
  }

  async #startAnother(pauseFirst: boolean): Promise<void> {
    for (let pause = pauseFirst; !this.#closing; pause = true) {
      if (pause) await this.#pause()
      if (this.#closing) break
      try {
        const next = await this.#supply.start()
        this.#adopt(next)
        if (this.#table) await next.configure(this.#table, true)
        this.#supply.log.warn({ pid: next.pid }, 'a new keeper makes the bench safe')
        return
      } catch (error) {
        this.#supply.log.error({ err: error }, 'no new keeper yet')
      }
    }
    throw new BenchError('KEEPER_GONE', 'the bench is closed before a new keeper had started')
  }

  #pause(): Promise<void> {
    return new Promise(resolve => {
      const cancel = this.#supply.livenessClock.after(againAfterMs, resolve)
      this.#endPause = () => { cancel(); resolve() }
    })
  }
}
