/** Starting is recovering: what an earlier daemon left is made safe, closed on record, bled and measured. */
import { prepareInstruments } from '../engine/prepare-instruments.ts'
import type { BenchStatus, SafeOffReport } from '../schema/application.ts'
import { leftOnBus, measureLeft, type LeftOnBus } from './after-crash.ts'
import type { DaemonDeps } from './daemon-deps.ts'
import { checkIdentities } from './identity.ts'
import type { Latch } from './latch.ts'
import { lostFromRecord } from './marked-run.ts'
import { unitLeftOnRecord } from './unit-left.ts'
import { chargedOnRecord, standingOnRecord, unprovedOnRecord } from './unproved.ts'

export class Recovery {
  readonly #d: DaemonDeps
  readonly #latch: Latch
  readonly #changed: () => void
  readonly #ending = new AbortController()
  #left: BenchStatus['left'] = null
  #measuring: Promise<void> | null = null

  /** `changed` is called when there is something new to see in `left`. */
  constructor(deps: DaemonDeps, latch: Latch, changed: () => void) {
    this.#d = deps
    this.#latch = latch
    this.#changed = changed
  }

  /** What an interrupted run left on the bus; null where nothing did, or another run began. */
  get left(): BenchStatus['left'] { return this.#left }

  get isMeasuring(): boolean { return this.#measuring !== null }

  forget(): void { this.#left = null }

  /** Safe-off, read back; runs that stood as running become interrupted. Resolves with their ids. */
  async run(): Promise<string[]> {
    const { keeper, composed, store, clock } = this.#d
    await keeper.configure(composed.table, true)
    const off = await keeper.safeOff('start of the daemon')
    await keeper.reset()
    const interrupted = await store.interruptRunning(clock.wallMs())
    const lost = (): Promise<string | null> => lostFromRecord(this.#d)
    for (const standing of [lost, standingOnRecord, unprovedOnRecord, chargedOnRecord, unitLeftOnRecord]) {
      const words = await standing(store)
      if (words !== null) this.#latch.add(words)
    }
    await prepareInstruments(composed.roles)
    const left = await leftOnBus(store)
    if (left) this.#measuring = this.#measure(left, off)
    return interrupted
  }

  /** Resolves when what a crash left has been bled and measured; at once where there was nothing. */
  async done(): Promise<void> { await this.#measuring }

  /** Ends the measuring early. */
  async end(): Promise<void> {
    this.#ending.abort()
    await this.#measuring
  }

  /** The bench is latched meanwhile, and stays so unless every part was measured dead. */
  async #measure(left: LeftOnBus, off: SafeOffReport): Promise<void> {
    const latched = this.#latch.now
    const { bench, composed, store } = this.#d
    const failure = await measureLeft({
      ...this.#d, signal: this.#ending.signal, checkIdentities: () => checkIdentities(bench, composed),
      tell: found => { this.#left = found; this.#changed() },
    }, left, off).then(() => null, (error: unknown) => `not measured: ${(error as Error).message}`)
    const charged = await unprovedOnRecord(store).catch(() => latched?.text ?? null)
    this.#measuring = null
    if (this.#latch.now !== latched) return
    if (charged === null) this.#latch.release()
    else this.#latch.set(failure === null ? charged : `${charged} (${failure})`)
  }
}
