/** A bench with a jig in virtual time and one process: the real stack over simulated instruments and hands. */
import { VirtualClock } from '../src/base/clock.ts'
import { compose, energyInstruments, optionsFor, type ComposedBench } from '../src/app/compose.ts'
import { Daemon } from '../src/app/daemon.ts'
import { checkBench, ProfileFolder } from '../src/app/files.ts'
import { inlineKeeper } from '../src/keeper/client.ts'
import { KeeperHost } from '../src/keeper/host.ts'
import { benchFile } from '../src/schema/bench.ts'
import type { Store } from '../src/schema/store.ts'
import { Session } from '../src/scpi/session.ts'
import { shippedSequences } from '../src/sequences/index.ts'
import { openInlineStore } from '../src/store/inline.ts'
import { memoryLink, type MemoryLink } from '../src/transport/memory.ts'
import { JigBench } from '../mocks/bench/jig-bench.ts'
import type { ErrorModel } from '../mocks/instruments/accuracy.ts'
import { memoryEnd } from '../mocks/bench/links.ts'
import { Life, mortalClock, mortalTransport } from './mortal.ts'

export interface VirtualJig {
  clock: VirtualClock; sim: JigBench; daemon: Daemon; store: Store; keeper: KeeperHost
  composed: ComposedBench; links: ReadonlyMap<string, MemoryLink>
  /** Kills daemon and keeper where they stand, and starts others over the same bench and record. */
  restart(): Promise<Daemon>
}

export interface VirtualJigOptions {
  readonly seed?: number
  /** Given where the record is to be looked into; in memory when left out. */
  readonly store?: Store
  /** Instruments answer at once. */
  readonly instant?: boolean
  readonly errors?: ErrorModel
  /** With a cover that locks. */
  readonly covered?: boolean
  /** Positions of a tray; none when left out. */
  readonly tray?: number
}

export async function virtualJig(options: VirtualJigOptions = {}): Promise<VirtualJig> {
  const { seed = 3, store = openInlineStore(':memory:'), instant = false, errors = 'inside', covered = false, tray = 0 } = options
  const clock = new VirtualClock()
  const sim = new JigBench({ clock, seed, instant, errors, covered, tray })
  const profiles = new ProfileFolder(null)
  const bench = checkBench(benchFile.parse(sim.benchFile()), 'simulated jig', profiles)
  const links = new Map(sim.names.map(name =>
    [name, memoryLink(clock, memoryEnd(sim.instrument(name)), { url: `memory:${name}` })]))
  for (const name of sim.names) sim.instrument(name).device.onDisconnect = () => links.get(name)!.unplug()
  let life = new Life()
  const make = async () => {
    life = new Life()
    const its = life
    const now = mortalClock(clock, its)
    const open = (url: string) => mortalTransport(links.get(url.slice('memory:'.length))!.open(), its)
    const sessions = new Map(energyInstruments(bench).map(name => [name, new Session(() => open(`memory:${name}`), {
      ...optionsFor(bench, name, now, now),
      onNotice: notice => { if (notice.what === 'down') host.linkLost(name) },
    })]))
    const host: KeeperHost =
      new KeeperHost({ sessions, livenessClock: now, benchClock: now, log: () => {} })
    const keeper = inlineKeeper(host)
    const composed = compose(bench, { clock: now, linkClock: now, open, keeperPort: name => keeper.port(name) })
    const daemon = new Daemon({
      clock: now, livenessClock: now, bench, composed, keeper, store, profiles, sequences: shippedSequences,
      software: 'test',
    })
    await clock.run((async () => {
      for (const session of composed.sessions.values()) await session.connect()
      await daemon.recover()
    })())
    return { daemon, host, composed }
  }
  const { daemon, host, composed } = await make()
  return {
    clock, sim, daemon, store, keeper: host, composed, links,
    restart: async () => {
      life.end()
      return (await make()).daemon
    },
  }
}
