/** A daemon in virtual time over a simulated bench: the real stack in one process, which may die and come back. */
import type { VirtualClock } from '../src/base/clock.ts'
import { compose, energyInstruments, optionsFor, type ComposedBench } from '../src/app/compose.ts'
import { Daemon } from '../src/app/daemon.ts'
import { checkBench, ProfileFolder } from '../src/app/files.ts'
import { inlineKeeper } from '../src/keeper/client.ts'
import { KeeperHost } from '../src/keeper/host.ts'
import { benchFile } from '../src/schema/bench.ts'
import type { Store } from '../src/schema/store.ts'
import { Session } from '../src/scpi/session.ts'
import { shippedSequences } from '../src/sequences/index.ts'
import { memoryLink, type MemoryLink } from '../src/transport/memory.ts'
import type { SimInstrument } from '../mocks/instruments/instrument.ts'
import { memoryEnd } from '../mocks/bench/links.ts'
import { Life, mortalClock, mortalTransport } from './mortal.ts'

export interface SimulatedBench {
  readonly names: readonly string[]
  instrument(name: string): SimInstrument
  benchFile(): object
}

export interface Living { readonly daemon: Daemon; readonly host: KeeperHost; readonly composed: ComposedBench }

export interface VirtualDaemon extends Living {
  readonly links: ReadonlyMap<string, MemoryLink>
  /** Kills daemon and keeper where they stand, and starts others over the same bench and record. */
  restart(): Promise<Daemon>
}

export async function virtualDaemon(clock: VirtualClock, sim: SimulatedBench, store: Store, ownProfiles: string | null = null): Promise<VirtualDaemon> {
  const profiles = new ProfileFolder(ownProfiles)
  const bench = checkBench(benchFile.parse(sim.benchFile()), 'simulated bench', profiles)
  const links = new Map(sim.names.map(name =>
    [name, memoryLink(clock, memoryEnd(sim.instrument(name)), { url: `memory:${name}` })]))
  for (const name of sim.names) sim.instrument(name).device.onDisconnect = () => links.get(name)!.unplug()
  let life = new Life()
  const make = async (): Promise<Living> => {
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
  return {
    ...await make(), links,
    restart: async () => {
      life.end()
      return (await make()).daemon
    },
  }
}
