/** A stand with one whole unit in virtual time and one process: real drivers and keeper over simulated gear. */
import { VirtualClock } from '../src/base/clock.ts'
import { compose, energyInstruments, optionsFor, type ComposedBench } from '../src/app/compose.ts'
import { checkBench, ProfileFolder, type LoadedBench } from '../src/app/files.ts'
import { beatLimitMs } from '../src/app/night-maker.ts'
import { startPulse } from '../src/app/pulse.ts'
import { inlineKeeper, type Keeper } from '../src/keeper/client.ts'
import { KeeperHost } from '../src/keeper/host.ts'
import { makePower } from '../src/powering/make.ts'
import { placesOf } from '../src/powering/places.ts'
import type { PowerRoles } from '../src/powering/power.ts'
import { benchFile } from '../src/schema/bench.ts'
import type { UnitOnStand } from '../src/schema/stand.ts'
import type { FeedItem } from '../src/schema/application.ts'
import type { Store } from '../src/schema/store.ts'
import type { UnitProfile } from '../src/schema/unit-profile.ts'
import { Session } from '../src/scpi/session.ts'
import { openInlineStore } from '../src/store/inline.ts'
import { memoryLink, type MemoryLink } from '../src/transport/memory.ts'
import { memoryEnd } from '../mocks/bench/links.ts'
import { StandBench, type StandBenchOptions } from '../mocks/bench/stand-bench.ts'
import type { SimulatedUnit } from '../mocks/units/amplifier.ts'

export interface VirtualStand {
  readonly clock: VirtualClock
  readonly sim: StandBench
  readonly bench: LoadedBench
  readonly composed: ComposedBench
  readonly keeper: Keeper
  readonly links: ReadonlyMap<string, MemoryLink>
  readonly store: Store
}

export async function virtualStand(
  unit: SimulatedUnit, seed = 5, options: Pick<StandBenchOptions, 'errors' | 'inLineOhm'> = {},
): Promise<VirtualStand> {
  const clock = new VirtualClock()
  const sim = new StandBench({ clock, seed, unit, ...options })
  const bench = checkBench(benchFile.parse(sim.benchFile()), 'simulated stand', new ProfileFolder(null))
  const links = new Map(sim.names.map(name =>
    [name, memoryLink(clock, memoryEnd(sim.instruments[name]), { url: `memory:${name}` })]))
  for (const name of sim.names) sim.instruments[name].device.onDisconnect = () => links.get(name)!.unplug()
  const open = (url: string) => links.get(url.slice('memory:'.length) as never)!.open()
  const sessions = new Map(energyInstruments(bench).map(name => [name, new Session(() => open(`memory:${name}`), {
    ...optionsFor(bench, name, clock, clock),
    onNotice: notice => { if (notice.what === 'down') host.linkLost(name) },
  })]))
  const host: KeeperHost = new KeeperHost({ sessions, livenessClock: clock, benchClock: clock, log: () => {} })
  const keeper = inlineKeeper(host)
  const composed = compose(bench, { clock, linkClock: clock, open, keeperPort: name => keeper.port(name) })
  sim.switches.present = true
  await clock.run((async () => {
    for (const session of composed.sessions.values()) await session.connect()
    await keeper.configure(composed.table, true)
    await keeper.safeOff('start')
    await keeper.reset()
  })())
  return { clock, sim, bench, composed, keeper, links, store: openInlineStore(':memory:') }
}

/** One run on it, wired as an application would; a person goes on at every hold point after five seconds. */
export async function powerOn(
  stand: VirtualStand, profile: UnitProfile, request: UnitOnStand, publish: (item: FeedItem) => void = () => {},
) {
  const { clock, bench, composed, keeper, store } = stand
  const spec = bench.file.stand!
  const { places, missing } = placesOf(profile, spec, request.wiring)
  if (missing.length > 0) throw new Error(JSON.stringify(missing))
  const handles: ReturnType<typeof makePower> = makePower({
    runId: 'run-1', clock, livenessClock: clock, request, profile, stand: spec, touchSafeV: 60,
    roles: rolesOf(composed), places, store, expectedS: 600, publish,
    checkIdentities: async () => {},
    guard: {
      arm: () => keeper.arm(composed.table, beatLimitMs),
      disarm: () => keeper.mode() === 'safe' ? keeper.reset() : keeper.disarm(),
      safeOff: reason => keeper.safeOff(reason),
    },
    waits: () => {
      const { point } = handles.holds
      if (point) clock.after(5000, () => {
        if (handles.holds.point !== point) return
        stand.sim.obey(point.id)
        handles.holds.answer(point.id, 'a person')
      })
    },
  })
  await store.createRun({
    id: 'run-1', sequence: 'first-power', bench: 'unit-stand', state: 'running', startedWallMs: 0,
    endedWallMs: null, person: 'a person', use: 'attended', software: 'test', setup: {},
  }, places.all)
  const stopPulse = startPulse({ night: handles.power, keeper, livenessClock: clock })
  return { handles, stopPulse }
}

function rolesOf({ roles }: ComposedBench): PowerRoles {
  return {
    mainsSwitch: roles['mains-switch']!, powerMeter: roles['power-meter']!, meter: roles['sense-meter']!,
    scanner: roles.scanner!, thermometer: roles.thermometer, interlock: roles.interlock,
    generator: roles.generator, load: roles.load, digitizer: roles.digitizer,
  }
}
