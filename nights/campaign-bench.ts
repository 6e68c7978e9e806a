/**
 * A bench for a whole night of the campaign: the simulated bench goes on while daemon and keeper, each with a life of its
 * own, are killed and started again over the same record.
 */
import { compose, energyInstruments, optionsFor } from '../src/app/compose.ts'
import type { ComposedBench } from '../src/app/compose.ts'
import { Daemon } from '../src/app/daemon.ts'
import { LastingKeeper } from '../src/app/lasting-keeper.ts'
import type { Clock } from '../src/base/clock.ts'
import { sleep } from '../src/base/clock.ts'
import type { VirtualClock } from '../src/base/clock.ts'
import type { Log } from '../src/base/log.ts'
import type { AnySequence } from '../src/engine/sequence.ts'
import { KeeperHost } from '../src/keeper/host.ts'
import type { KeeperHostOptions } from '../src/keeper/host.ts'
import type { KeeperMode } from '../src/keeper/machine.ts'
import type { ProfileOf } from '../src/schema/instrument-profile.ts'
import type { StartRequest } from '../src/schema/run.ts'
import type { Store } from '../src/schema/store.ts'
import { Session } from '../src/scpi/session.ts'
import { shippedSequences } from '../src/sequences/index.ts'
import type { Transport } from '../src/transport/transport.ts'
import { openInlineStore } from '../src/store/inline.ts'
import type { SimBench } from '../mocks/bench/sim-bench.ts'
import type { Scenario } from '../mocks/bench/scenario.ts'
import { watchdogS } from './excuses.ts'
import { failingStore } from './failing-store.ts'
import type { FailingStore } from './failing-store.ts'
import { Life, mortalClock, mortalTransport, pipedKeeper } from './mortal.ts'
import { simulate } from './virtual-bench.ts'
import type { Simulated } from './virtual-bench.ts'

/** What a canary puts in place of the real thing; nothing by itself. */
export interface Seams {
  keeperHost?: (options: KeeperHostOptions) => KeeperHost
  /** Whether the cutoff's hold-in contact is given up by the simulated bench when nobody refreshes it. */
  prepare?: (bench: CampaignBench) => void
}

/** A process takes this long to start. */
const spawnMs = 300
const quiet = { error: () => {}, warn: () => {} } as unknown as Pick<Log, 'error' | 'warn'>

export class CampaignBench {
  readonly clock: VirtualClock
  readonly sim: SimBench
  readonly request: StartRequest
  daemon!: Daemon
  keeper!: KeeperHost
  composed!: ComposedBench
  daemonLife = new Life()
  keeperLife = new Life()
  /** The cutoff's main contact is closed for good while its auxiliary contact follows the coil. */
  weldedUnseen = false
  /** Called with each mode of the keeper that lives. */
  onKeeperMode: (mode: KeeperMode) => void = () => {}
  readonly #simulated: Simulated
  readonly #record: Store
  readonly #seams: Seams
  readonly #sequences: readonly AnySequence[]
  #failing!: FailingStore
  #started = 0
  /** Which instrument answers at whose port; itself unless ports were swapped. */
  readonly #plugged = new Map<string, string>()

  constructor(scenario: Scenario, seed: number, seams: Seams = {}, sequences: readonly AnySequence[] = []) {
    this.#simulated = simulate(scenario, seed)
    this.clock = this.#simulated.clock
    this.sim = this.#simulated.sim
    this.request = this.#simulated.request
    this.#record = openInlineStore(':memory:')
    this.#seams = seams
    this.#sequences = sequences
    seams.prepare?.(this)
  }

  /** The record itself, whatever befalls the daemon's way to it. */
  get store(): Store { return this.#record }
  get bench(): Simulated['bench'] { return this.#simulated.bench }
  get profiles(): Simulated['profiles'] { return this.#simulated.profiles }

  /** After so long without a line the supply goes off by itself, ms. */
  get silenceMs(): number {
    const { file, profiles } = this.bench
    const { profile } = profiles.get('psu')!
    return 1000 * watchdogS(file.cadence, (profile as ProfileOf<'dc-supply'>).watchdog!.minS)
  }

  setStore(trouble: Parameters<FailingStore['set']>[0]): void { this.#failing.set(trouble) }

  /** The supply is on and the cutoff's contact leads on: something can flow to the bus. */
  get feeding(): boolean {
    const { psu, cutoff } = this.sim.instruments
    return psu.core.driven && (cutoff.contact || this.weldedUnseen)
  }

  /** Starts a daemon, and a keeper of its own. Resolves with the ids of interrupted runs. */
  async boot(): Promise<string[]> {
    this.daemonLife.end()
    this.keeperLife.end()
    this.daemonLife = new Life()
    const clock = mortalClock(this.clock, this.daemonLife)
    const { bench, profiles } = this.#simulated
    this.#failing = failingStore(this.#record, clock)
    const keeper = await LastingKeeper.start({
      start: () => this.#startKeeper(clock), benchClock: clock, livenessClock: clock, log: quiet,
    })
    this.composed = compose(bench, {
      clock, linkClock: clock, open: url => mortalTransport(this.#open(url), this.daemonLife), keeperPort: name => keeper.port(name),
    })
    // As a real start does, before anything that can fail.
    await keeper.configure(this.composed.table, true)
    await keeper.safeOff('start of the daemon')
    await keeper.reset()
    this.daemon = new Daemon({
      clock, livenessClock: clock, bench, composed: this.composed, keeper, store: this.#failing.store, profiles,
      sequences: [...shippedSequences, ...this.#sequences], software: 'campaign',
    })
    for (const session of this.composed.sessions.values()) await session.connect()
    return await this.daemon.recover()
  }

  killDaemon(): void { this.daemonLife.end() }
  killKeeper(): void { this.keeperLife.end() }

  /** Two plugs change places: the links end, and whoever opens them again speaks to the other instrument. */
  swapPorts(one: string, other: string): void {
    const [a, b] = [this.#pluggedAt(one), this.#pluggedAt(other)]
    this.#simulated.links.get(a)!.unplug()
    this.#simulated.links.get(b)!.unplug()
    this.#plugged.set(one, b)
    this.#plugged.set(other, a)
  }

  async #startKeeper(daemonClock: Clock): Promise<ReturnType<typeof pipedKeeper>> {
    if (this.#started++ > 0) await sleep(daemonClock, spawnMs)
    this.keeperLife.end()
    const life = new Life()
    this.keeperLife = life
    const clock = mortalClock(this.clock, life)
    const { bench } = this.#simulated
    const sessions = new Map(energyInstruments(bench).map(name => [name, new Session(() => mortalTransport(this.#open(`memory:${name}`), life), {
      ...optionsFor(bench, name, clock, clock), onNotice: notice => { if (notice.what === 'down') host.linkLost(name) },
    })]))
    const options: KeeperHostOptions = { sessions, livenessClock: clock, benchClock: clock, log: () => {} }
    const host: KeeperHost = this.#seams.keeperHost?.(options) ?? new KeeperHost(options)
    this.keeper = host
    host.onEvent(event => { if (event.type === 'mode' && life.acts) this.onKeeperMode(event.mode) })
    return pipedKeeper(host, life, this.daemonLife, { pid: this.#started, clock: daemonClock })
  }

  #pluggedAt(port: string): string { return this.#plugged.get(port) ?? port }
  #open(url: string): Transport { return this.#simulated.links.get(this.#pluggedAt(url.slice('memory:'.length)))!.open() }
}
