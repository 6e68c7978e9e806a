/**
 * How long a trip takes: from the bytes of an over-limit bus reading to the bytes of the supply's output-off,
 * over real TCP, in real time, through session, driver, supervisor, run and the keeper's process, while a
 * rack of 48 is swept without a pause, the bus is read each 100 ms, and the store's worker writes to a file.
 */
import { type ChildProcess, fork, spawn } from 'node:child_process'
import { once } from 'node:events'
import { mkdtempSync, rmSync } from 'node:fs'
import { connect } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { createInterface } from 'node:readline'
import { compose, energyInstruments, optionsFor } from '../src/app/compose.ts'
import { checkBench, type LoadedBench, ProfileFolder } from '../src/app/files.ts'
import { makeNight } from '../src/app/night-maker.ts'
import { startPulse } from '../src/app/pulse.ts'
import { RealClock, sleep } from '../src/base/clock.ts'
import { builtEntry } from '../src/base/paths.ts'
import { SeededRandom } from '../src/base/random.ts'
import { channelTable } from '../src/engine/channels.ts'
import { forkKeeper, type Keeper } from '../src/keeper/client.ts'
import type { LinkSettings } from '../src/keeper/protocol.ts'
import type { Plan } from '../src/schema/application.ts'
import { benchFile } from '../src/schema/bench.ts'
import { openWorkerStore } from '../src/store/remote.ts'
import { openTransport } from '../src/transport/open.ts'
import type { WireOrder, WireSays, WireStart } from './trip-wire.ts'

/** Microseconds, one entry a trip. `bareUs`: a bare `net` loop in the same process under the same polling. */
export interface TripFigures { readonly tripUs: number[]; readonly bareUs: number[] }

const clock = new RealClock()
const forever = new AbortController().signal
const busMs = 100
/** Silence that ends a recovery. The bench is on this machine; the off commands go out before it in any case. */
const quietMs = 10

/** A thousand trips, so that one in a thousand can be seen; some six minutes. */
export async function measureTrips({ trips = 1000, positions = 48 } = {}): Promise<TripFigures> {
  const folder = mkdtempSync(join(tmpdir(), 'trips-'))
  const undo: (() => unknown)[] = [() => rmSync(folder, { recursive: true, force: true })]
  try {
    const bench = await simulatedBench(positions, undo)
    const wire = await wireInto(bench, undo)
    const stack = await openStack(bench, folder, undo)
    const bare = await bareLoop(wire, undo)
    const figures: TripFigures = { tripUs: [], bareUs: [] }
    const random = new SeededRandom(1)
    for (let i = 0; i < trips; i++) {
      await oneNight(stack, i, async () => {
        // Any moment of the bus meter's period, once the first reading is past.
        await sleep(clock, random.uniform(20, 20 + busMs), forever)
        figures.bareUs.push(await bare())
        return await ask(wire.child, 'trip')
      }, figures)
    }
    return figures
  } finally {
    for (const step of undo.reverse()) await step()
  }
}

type Stack = Awaited<ReturnType<typeof openStack>>

/** Arms, polls, trips, and waits until the keeper has read back that everything is off. */
async function oneNight(
  stack: Stack, number: number, trip: () => Promise<number>, figures: TripFigures,
): Promise<void> {
  const { bench, composed, keeper, store, profiles } = stack
  const runId = `trip-${number}`
  const channels = channelTable(bench.file.fixture)
  const loaded = bench.file.fixture.positions.slice(0, -1).map(({ name }) => ({
    position: name, part: name, profile: 'al-450v-47u-general', note: '', condition: 'sound' as const,
  }))
  const profile = profiles.part('al-450v-47u-general').profile
  await store.createRun({
    id: runId, sequence: 'reform', bench: 'benchmark', state: 'running', startedWallMs: clock.wallMs(),
    endedWallMs: null, person: 'nobody', use: 'unattended', software: '0', setup: {},
  }, channels.all)
  const handles = makeNight({
    runId, clock, livenessClock: clock, bench, composed, keeper, store, channels, plan: { expectedS: 1 } as Plan,
    parts: loaded.map(part => ({ loaded: part, profile })),
    publish: () => {}, checkIdentities: async () => {},
  })
  const { night } = handles
  night.supervisor.arm([{
    id: 'bus.most', channel: channels.busVoltage.name, side: 'above', bound: 475, samples: 1,
    reaction: 'stop', says: 'the bus is above the envelope',
  }], [], { voltageV: 450, currentA: 0.1 }, clock.monotonicMs())
  await night.guard.arm()
  const stopPulse = startPulse({ night, keeper, livenessClock: clock })
  const sampling = night.sampler.run()
  figures.tripUs.push(await trip())
  stopPulse()
  handles.stopReading()
  await sampling
  const { latched } = night.supervisor
  if (latched?.id !== 'bus.most') throw new Error(`it tripped for ${latched?.text}`)
  await keeper.safeOff('read back')
  await night.recorder.flush()
  await store.finishRun(runId, 'tripped', clock.wallMs())
  await night.guard.disarm()
}

async function openStack(bench: LoadedBench, folder: string, undo: (() => unknown)[]) {
  const profiles = new ProfileFolder(null)
  const store = await openWorkerStore(join(folder, 'record.db'))
  undo.push(() => store.close())
  const keeper: Keeper = await forkKeeper({
    links: energyInstruments(bench).map(name => (
      { name, url: bench.file.instruments[name]!.url, settings: settingsOf(bench, name) })),
    dataFolder: folder, clock: { kind: 'real' }, benchClock: clock, livenessClock: clock,
  })
  undo.push(() => keeper.close())
  const composed = compose(bench, {
    clock, linkClock: clock, open: openTransport, keeperPort: name => keeper.port(name),
  })
  for (const session of composed.sessions.values()) {
    await session.connect()
    undo.push(() => session.close())
  }
  await keeper.configure(composed.table, true)
  await keeper.safeOff('start')
  await keeper.reset()
  for (const role of Object.values(composed.roles)) await role.prepare()
  return { bench, composed, keeper, store, profiles }
}

/** Session options as data: what a session of the keeper's process is made from. */
function settingsOf(bench: LoadedBench, name: string): LinkSettings {
  const { ignoreLines, ...rest } = optionsFor(bench, name, clock, clock)
  const { name: _name, clock: _clock, linkClock: _linkClock, ...data } = rest
  const plain = { ...data, quietMs, ignoreLines: (ignoreLines ?? []).map(({ source }) => source) }
  return JSON.parse(JSON.stringify(plain)) as LinkSettings
}

async function simulatedBench(positions: number, undo: (() => unknown)[]): Promise<LoadedBench> {
  const options = ['--realtime', '--present', '--scenario', `rack-${positions}`]
  const command = [builtEntry('mocks/main'), ...options]
  const child = spawn(process.execPath, command, { stdio: ['pipe', 'pipe', 'inherit'] })
  undo.push(() => child.kill())
  const [line] = await once(createInterface({ input: child.stdout }), 'line')
  const file = benchFile.parse((JSON.parse(String(line)) as { benchFile: object }).benchFile)
  file.cadence = { busMs, busQuietMs: busMs, sweepMs: 2500, sweepQuietMs: 2500, temperatureMs: 10_000 }
  return checkBench(file, 'simulated bench', new ProfileFolder(null))
}

interface Wire { child: ChildProcess; barePort: number }

/** Puts the wire between the bench and its bus meter and supply. */
async function wireInto(bench: LoadedBench, undo: (() => unknown)[]): Promise<Wire> {
  const { psu, 'bus-dmm': meter } = bench.file.instruments
  const start: WireStart = { meterUrl: meter!.url, supplyUrl: psu!.url }
  const child = fork(builtEntry('benchmarks/trip-wire'), [JSON.stringify(start)], { execArgv: [] })
  undo.push(() => child.kill())
  const [says] = await once(child, 'message') as [WireSays]
  if (!('ready' in says)) throw new Error('the wire is not ready')
  meter!.url = says.ready.meterUrl
  psu!.url = says.ready.supplyUrl
  return { child, barePort: says.ready.barePort }
}

/** The least that could be done: read, compare, write. */
async function bareLoop({ child, barePort }: Wire, undo: (() => unknown)[]): Promise<() => Promise<number>> {
  const socket = connect({ port: barePort, host: '127.0.0.1', noDelay: true })
  await once(socket, 'connect')
  undo.push(() => socket.destroy())
  socket.on('data', chunk => { if (Number(chunk.toString('latin1')) >= 475) socket.write('OUTP OFF\n') })
  return () => ask(child, 'bare')
}

async function ask(child: ChildProcess, order: WireOrder): Promise<number> {
  const answer = once(child, 'message', { signal: AbortSignal.timeout(20_000) })
  child.send(order)
  const [says] = await answer as [WireSays]
  if (!('us' in says)) throw new Error('the wire lost its way')
  return says.us
}
