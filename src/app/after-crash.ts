/**
 * What a crash left: the parts that were on the bus are bled and measured by the engine's own discharge, and
 * the record of the run that was interrupted goes on with what is found.
 */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import { channelTable, type ChannelTable } from '../engine/channels.ts'
import { followAll } from '../engine/bleed.ts'
import { emptyHolder } from '../engine/position.ts'
import { found } from '../safety/held.ts'
import type { PartProfile } from '../schema/part-profile.ts'
import { partProfile } from '../schema/part-profile.ts'
import { plan, startRequest, type BenchStatus, type SafeOffReport } from '../schema/application.ts'
import type { LoadedPart, RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { makeNight, type NightInput } from './night-maker.ts'
import { openOnRecord } from './unproved.ts'

export type CrashDeps = Pick<
  NightInput, 'clock' | 'livenessClock' | 'bench' | 'composed' | 'keeper' | 'store' | 'checkIdentities'
> & {
  /** Ends the measuring early. */
  signal: AbortSignal
  tell: (left: NonNullable<BenchStatus['left']>) => void
}

export interface LeftOnBus { run: RunRecord; positions: readonly string[] }

/** What is to be measured at a start; null where the last run was not interrupted, or left nothing open. */
export async function leftOnBus(store: Store): Promise<LeftOnBus | null> {
  const open = await openOnRecord(store)
  return open !== null && open.run.state === 'interrupted' && open.positions.length > 0 ? open : null
}

type Left = { loaded: LoadedPart; profile: PartProfile }

/**
 * Bleeds and measures what an interrupted run left on the bus, and writes what it finds into that run. Parts
 * stay on their bleeders. Rejects where the record or an instrument fails, or where the fixture is no longer
 * the one of that run: then nothing counts as measured.
 */
export async function measureLeft(deps: CrashDeps, left: LeftOnBus, off: SafeOffReport): Promise<void> {
  const { store, clock, signal, tell } = deps
  const { run } = left
  const kept = continued(store, await lastMsOf(store, run, clock), clock)
  const channels = channelTable(deps.bench.file.fixture)
  await refuseOther(store, run, channels)
  const handles = makeNight({
    ...deps, store: kept, runId: run.id,
    plan: plan.parse(run.setup['plan']), channels, parts: partsOf(deps, run, left.positions),
    publish: () => {},
  })
  const { night } = handles
  // Nothing is known of this bus meter in this process: its zero shows nothing.
  night.state.busTrusted = false
  night.state.stage = 'bleeding'
  const heldV = await highestBusV(store, run, channels)
  for (const position of night.positions) position.held = found(heldV)
  const told = (measuring: boolean): void => tell({
    run: run.id, measuring,
    positions: night.positions.map(({ spec, part, held }) =>
      ({ position: spec.name, part: part.part, touch: held.words })),
  })
  told(true)
  signal.addEventListener('abort', handles.stopReading, { once: true })
  const sampling = night.sampler.run()
  try {
    await night.recorder.event({ kind: 'recovered', severity: 'warning', text: offText(off),
      data: { sentMs: off.sentMs, verifiedMs: off.verifiedMs, heldV } })
    await followAll(night, night.positions, new Map())
  } finally {
    handles.stopReading()
    await sampling.catch(() => {})
    await night.recorder.flush()
    told(false)
  }
}

/** Channels are kept by number: those of another fixture would be taken for these. */
async function refuseOther(store: Store, run: RunRecord, { all }: ChannelTable): Promise<void> {
  const names = (list: readonly { name: string }[]): string => list.map(({ name }) => name).join(' ')
  const [then, now] = [names(await store.channels(run.id)), names(all)]
  if (then === now) return
  throw new BenchError('REFUSED', 'the fixture is not the one of the run that was interrupted',
    { expected: then, got: now })
}

const offText = ({ verifiedMs }: SafeOffReport): string =>
  `the daemon started after this run was interrupted: bench ${verifiedMs === null
    ? 'told to be off; NOT READ BACK' : 'off and read back'}; parts are bled and measured`

/** What is no longer in the fixture cannot be measured, and stays open on record. */
function partsOf({ bench }: CrashDeps, run: RunRecord, open: readonly string[]): Left[] {
  const { parts } = startRequest.parse(run.setup['request'])
  return bench.file.fixture.positions.filter(({ name }) => open.includes(name)).map(({ name }) => {
    const loaded = parts.find(({ position }) => position === name)
    if (loaded) return { loaded, profile: recordedProfile(run, loaded.profile) }
    const none = { part: 'none', profile: emptyHolder.name, note: '', condition: 'sound' as const }
    return { loaded: { position: name, ...none }, profile: emptyHolder }
  })
}

/** As it was when the run began: a profile that was changed since says nothing of this part's charge. */
function recordedProfile(run: RunRecord, name: string): PartProfile {
  const recorded = run.setup['parts'] as { name: string; profile: unknown }[]
  return partProfile.parse(recorded.find(entry => entry.name === name)?.profile)
}

/**
 * The most that a part on the bus can hold, volts: what was asked for is on record before it takes effect.
 */
async function highestBusV(store: Store, run: RunRecord, { busVoltage }: ChannelTable): Promise<number> {
  const asked = (await store.events(run.id)).filter(({ kind }) => kind === 'set-point')
    .map(({ data }) => Number(data?.['toV'] ?? 0))
  const read =
    (await store.levels(run.id, busVoltage.index, 100)).map(({ max }) => max).filter(Number.isFinite)
  return Math.max(0, ...asked, ...read)
}

/** The end of the run in its own monotonic time, told by what was written last and the wall since. */
async function lastMsOf(store: Store, run: RunRecord, clock: Clock): Promise<number> {
  const last = (await store.events(run.id)).at(-1)
  return last === undefined ? 0 : last.atMs + Math.max(0, clock.wallMs() - last.wallMs)
}

/** The store of a run whose monotonic time was another process's: what is added follows what is there. */
function continued(store: Store, nowMs: number, clock: Clock): Store {
  const offsetMs = nowMs - clock.monotonicMs()
  const moved = <T extends { atMs: number }>(one: T): T => ({ ...one, atMs: one.atMs + offsetMs })
  return {
    ...store,
    appendEvent: (runId, event) => store.appendEvent(runId, moved(event)),
    appendReadings: (runId, batch) => store.appendReadings(runId, batch.map(moved)),
  }
}
