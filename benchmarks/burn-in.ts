/**
 * How long a burn-in of days takes in virtual time, each of twelve channels read once a second, and what it
 * keeps in memory. On the plain stand it is the program's own time with store, chain and levels; over the wire
 * it is the real stack (drivers, sessions, keeper) around simulated instruments and an amplifier as physics.
 */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { performance } from 'node:perf_hooks'
import { setFlagsFromString } from 'node:v8'
import { runInNewContext } from 'node:vm'
import { VirtualClock } from '../src/base/clock.ts'
import { ProfileFolder } from '../src/app/files.ts'
import { startPulse } from '../src/app/pulse.ts'
import { burnInParameters, burnInWork } from '../src/burn-in/work.ts'
import { makePower, type PowerInput } from '../src/powering/make.ts'
import { placesOf } from '../src/powering/places.ts'
import { runPower, type PowerHandles } from '../src/powering/runner.ts'
import type { Store } from '../src/schema/store.ts'
import { openInlineStore } from '../src/store/inline.ts'
import { pavilionAmplifier } from '../mocks/units/scenario.ts'
import { powerOn, virtualStand } from '../nights/virtual-stand.ts'
import { PlainStand, plainProfile, plainRequest, plainStand } from './plain-stand.ts'

setFlagsFromString('--expose-gc')
const collect = runInNewContext('gc') as () => void

export interface BurnInFigures {
  readonly hours: number
  /** Wall time of the run. */
  readonly seconds: number
  readonly readings: number
  readonly rssStartMb: number
  readonly rssMostMb: number
  /** Used heap after a collection: half way, and at the end. */
  readonly heapMiddleMb: number
  readonly heapEndMb: number
}

interface Ready {
  readonly clock: VirtualClock
  readonly handles: PowerHandles
  readonly store: Store
  stopPulse(): void
}

const parametersFor = (hours: number) => burnInParameters.parse({ programme: [{ kind: 'tone', forS: 3600 * hours }] })

/** Throws unless the run ends `done` and the hours counted. */
async function measured({ clock, handles, store, stopPulse }: Ready, hours: number): Promise<BurnInFigures> {
  const memory = watchMemory(clock, hours)
  const startedMs = performance.now()
  const { state, result } = await clock.run(runPower(handles,
    (power, sweep) => burnInWork.run(power, sweep, parametersFor(hours))).finally(stopPulse))
  const seconds = (performance.now() - startedMs) / 1000
  const countedS = result?.unit?.burnIn?.countedS ?? 0
  if (state !== 'done' || countedS < 3600 * hours) {
    throw new Error(`the burn-in ended ${state} after ${countedS} s: ${handles.power.supervisor.latched?.text ?? ''}`)
  }
  return { hours, seconds, readings: await countReadings(store, handles.power.runId), ...memory() }
}

export async function measurePlainBurnIn(hours: number): Promise<BurnInFigures> {
  const folder = mkdtempSync(join(tmpdir(), 'burn-in-'))
  try {
    const clock = new VirtualClock()
    const store = openInlineStore(join(folder, 'record.db'))
    const figures = await measured(await plainReady(clock, store), hours)
    await store.close()
    return figures
  } finally {
    rmSync(folder, { recursive: true, force: true })
  }
}

async function plainReady(clock: VirtualClock, store: Store): Promise<Ready> {
  const sim = new PlainStand(clock)
  const { places } = placesOf(plainProfile, plainStand, plainRequest.wiring)
  const off = { atWallMs: 0, sentMs: 0, verifiedMs: 1, links: [] }
  const input: PowerInput = {
    runId: 'run-1', clock, livenessClock: clock, request: plainRequest, profile: plainProfile, stand: plainStand,
    touchSafeV: 60, roles: sim.roles(), places, store, expectedS: 100, publish: () => {}, checkIdentities: async () => {},
    waits: () => {},
    guard: { arm: async () => {}, disarm: async () => {}, safeOff: async reason => { sim.off(); return { reason, ...off } } },
  }
  const handles = makePower(input)
  await store.createRun({
    id: 'run-1', sequence: 'burn-in', bench: 'plain', state: 'running', startedWallMs: 0, endedWallMs: null,
    person: 'nobody', use: 'unattended', software: 'bench', setup: {},
  }, places.all)
  const stopPulse = startPulse({ night: handles.power, keeper: { beat: () => {} }, livenessClock: clock })
  return { clock, handles, store, stopPulse }
}

export async function measureWiredBurnIn(hours: number): Promise<BurnInFigures> {
  const stand = await virtualStand(pavilionAmplifier(11).made.world, 11)
  Object.assign(stand.bench.file.stand!.cadence, plainStand.cadence)
  const { profile } = new ProfileFolder(null).unit('saltmarsh-pavilion-amplifier')
  const fuse = profile.supply.kind === 'mains' ? profile.supply.fuse : ''
  const { unpowered } = plainRequest
  const { handles, stopPulse } = await powerOn(stand, profile,
    { ...plainRequest, unit: profile.unit, unpowered: { ...unpowered, fuse } })
  return await measured({ clock: stand.clock, handles, store: stand.store, stopPulse }, hours)
}

function watchMemory(clock: VirtualClock, hours: number): () => Omit<BurnInFigures, 'hours' | 'seconds' | 'readings'> {
  const rss: number[] = []
  const heap: number[] = []
  const look = (): void => {
    collect()
    const { rss: resident, heapUsed } = process.memoryUsage()
    rss.push(resident / 2 ** 20)
    heap.push(heapUsed / 2 ** 20)
  }
  const again = (): void => { look(); cancel = clock.after(hours * 3600e3 / 16, again) }
  let cancel = clock.after(hours * 3600e3 / 16, again)
  look()
  return () => {
    cancel()
    look()
    return { rssStartMb: rss[0]!, rssMostMb: Math.max(...rss), heapMiddleMb: heap[heap.length >> 1]!, heapEndMb: heap.at(-1)! }
  }
}

async function countReadings(store: Store, runId: string): Promise<number> {
  let count = 0
  for (const { index } of await store.channels(runId)) {
    for (const bucket of await store.levels(runId, index, 1000)) count += bucket.count
  }
  return count
}
