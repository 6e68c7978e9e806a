/** A whole bench in virtual time and one process: the real stack over simulated instruments. */
import { dirname } from 'node:path'
import { VirtualClock } from '../src/base/clock.ts'
import { checkBench, ProfileFolder } from '../src/app/files.ts'
import type { LoadedBench } from '../src/app/files.ts'
import { compose, energyInstruments, optionsFor } from '../src/app/compose.ts'
import type { ComposedBench } from '../src/app/compose.ts'
import { Daemon } from '../src/app/daemon.ts'
import { inlineKeeper } from '../src/keeper/client.ts'
import { KeeperHost } from '../src/keeper/host.ts'
import type { AnySequence } from '../src/engine/sequence.ts'
import { benchFile } from '../src/schema/bench.ts'
import type { RunRecord, StartRequest } from '../src/schema/run.ts'
import type { Store } from '../src/schema/store.ts'
import { Session } from '../src/scpi/session.ts'
import { shippedSequences } from '../src/sequences/index.ts'
import { openInlineStore } from '../src/store/inline.ts'
import { RunMark } from '../src/store/run-mark.ts'
import { memoryLink } from '../src/transport/memory.ts'
import type { MemoryLink } from '../src/transport/memory.ts'
import { memoryEnd } from '../mocks/bench/links.ts'
import { createSimBench } from '../mocks/bench/sim-bench.ts'
import type { BenchErrors, BenchFaults, SimBench } from '../mocks/bench/sim-bench.ts'
import type { Scenario } from '../mocks/bench/scenario.ts'

export interface VirtualBench {
  clock: VirtualClock; sim: SimBench; daemon: Daemon; store: Store; keeper: KeeperHost
  composed: ComposedBench
  request: StartRequest
  /** Starts the request and runs it to its end. */
  night(request?: Partial<StartRequest>): Promise<RunRecord>
}

export interface VirtualBenchOptions {
  faults?: BenchFaults
  latencyMs?: number
  /** How hidden errors are drawn; instruments well inside their limits when left out. */
  errors?: BenchErrors
  /** A file; in memory when left out. */
  storePath?: string
  /** Sequences beside the shipped ones. */
  sequences?: readonly AnySequence[]
  /** A folder whose profiles go before the shipped ones. */
  ownProfiles?: string
}

/** The simulated bench, its bench file, and a link to each instrument; no program runs on it yet. */
export interface Simulated {
  clock: VirtualClock; sim: SimBench; bench: LoadedBench; profiles: ProfileFolder
  /** By instrument name. */
  links: ReadonlyMap<string, MemoryLink>
  request: StartRequest
}

export function simulate(scenario: Scenario, seed: number, options: VirtualBenchOptions = {}): Simulated {
  const clock = new VirtualClock()
  const sim = createSimBench({
    seed, scenario, clock, ...(options.faults ? { faults: options.faults } : {}),
    ...(options.errors ? { errors: options.errors } : {}),
  })
  sim.switches.present = true
  const profiles = new ProfileFolder(options.ownProfiles ?? null)
  const names = Object.keys((sim.benchFile() as { instruments: object }).instruments)
  const urls = Object.fromEntries(names.map(name => [name, `memory:${name}`]))
  const bench = checkBench(benchFile.parse(sim.benchFile(urls)), 'simulated bench', profiles)
  const links = new Map(names.map(name => [name, memoryLink(clock, {
    ...memoryEnd(sim.instrument(name)),
  }, { url: `memory:${name}`, latencyMs: options.latencyMs ?? 0 })]))
  for (const name of names) sim.instrument(name).device.onDisconnect = () => links.get(name)!.unplug()
  return { clock, sim, bench, profiles, links, request: requestOf(scenario) }
}

const requestOf = (scenario: Scenario): StartRequest => ({
  sequence: 'reform', parameters: {}, use: 'unattended', person: 'night watch',
  cautionsConfirmed: true, polarityConfirmed: true,
  parts: scenario.parts.map(({ position, id }) => ({
    position, part: id, profile: scenario.partProfile, note: '', condition: 'sound' as const,
  })),
})

export async function virtualBench(
  scenario: Scenario, seed: number, options: VirtualBenchOptions = {},
): Promise<VirtualBench> {
  const { clock, sim, bench, profiles, links, request } = simulate(scenario, seed, options)
  const open = (url: string) => links.get(url.slice('memory:'.length))!.open()
  const sessions = new Map(energyInstruments(bench).map(name => [name, new Session(() => open(`memory:${name}`), {
    ...optionsFor(bench, name, clock, clock), onNotice: notice => { if (notice.what === 'down') host.linkLost(name) },
  })]))
  const host: KeeperHost = new KeeperHost({ sessions, livenessClock: clock, benchClock: clock, log: () => {} })
  const keeper = inlineKeeper(host)
  const composed = compose(bench, { clock, linkClock: clock, open, keeperPort: name => keeper.port(name) })
  const store = openInlineStore(options.storePath ?? ':memory:')
  const daemon = new Daemon({
    clock, livenessClock: clock, bench, composed, keeper, store, profiles, sequences: [...shippedSequences, ...options.sequences ?? []],
    software: 'test', ...options.storePath === undefined ? {} : { mark: new RunMark(dirname(options.storePath)) },
  })
  await clock.run((async () => {
    for (const session of composed.sessions.values()) await session.connect()
    await daemon.recover()
  })())
  return {
    clock, sim, daemon, store, keeper: host, composed, request,
    night: async overrides => await clock.run((async () => {
      const run = await daemon.start({ ...request, ...overrides })
      return await daemon.ended(run.id)
    })()),
  }
}
