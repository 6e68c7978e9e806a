/** The test record as plain data: everything known of one run, or of one part over all its runs. */
import { BenchError } from '../base/errors.ts'
import type { Channel } from '../schema/reading.ts'
import type { LoadedPart, PartResult, RunRecord } from '../schema/run.ts'
import type { InService } from '../schema/service.ts'
import type { Store, StoredEvent } from '../schema/store.ts'
import { closeWindowOf, endStateOf, restNotesOf, type CloseWindow, type EndState } from './end-state.ts'
import { jigWords } from './jig-words.ts'
import { leftOutOf } from './left-out.ts'
import { leakageFit, type LeakageFit } from './leakage-fit.ts'
import {
  continuesOf, fixtureOf, instrumentsOf, partProfilesOf, partsOf, type FixtureNumbers, type RecordInstrument,
} from './setup.ts'
import { inServiceIn } from './service.ts'
import { formalSpanOf, partVolts, stagesOf, thinned, traceOf, type StageSpan, type Trace } from './traces.ts'

export interface RecordPart {
  position: string
  part: string
  profile: string
  condition: LoadedPart['condition'] | null
  note: string
  result: PartResult | null
  /** How it stood at the end. */
  end: EndState
  /** When a provisional grade may be closed; null where nothing is open, or no forming to count from. */
  closes: CloseWindow | null
  /** In the unit it is for; null where its profile does not ask, or nobody said how warm it is there. */
  inService: InService | null
  stages: StageSpan[]
  /** Volts of the part itself, computed from bus volts and current; null where the record cannot tell. */
  volts: Trace | null
  leakage: Trace | null
  caseTemperature: Trace | null
  /**
   * The leakage decay from its own start, on the way to the limit; null where it never arrived at voltage.
   */
  decay: LeakageFit | null
}

export interface RunTestRecord {
  run: RunRecord
  /** Head of the chain of hashes over setup, events, readings and results. */
  chainHead: string
  /** Null when not asked for; otherwise whether the chain holds, and where it breaks first. */
  chain: { holds: boolean; firstBreak: string } | null
  durationS: number
  /** Monotonic time of the run's start, in ms: what the seconds of all traces count from. */
  startMs: number
  bus: Trace | null
  parts: RecordPart[]
  instruments: RecordInstrument[]
  partProfiles: { name: string; hash: string }[]
  /** The run that this one continues, and the one that continues it. */
  continues: string | null
  continuedBy: string | null
  /** What was taken off for the jig, in words; null where no jig was used. */
  jig: string | null
  /** What the plan said of the rest of the parts before their closing reading. */
  restNotes: string[]
  fixture: FixtureNumbers | null
  events: StoredEvent[]
}

export interface PartTestRecord { part: string; runs: RunTestRecord[] }

export interface RecordOptions {
  /** Points of each line. */
  points?: number
  /** Recompute the chain of hashes: reads the whole run. */
  verify?: boolean
}

/** Reads one run. NOT_FOUND when there is none of that id. */
export async function buildRecord(
  store: Store, runId: string, options: RecordOptions = {}
): Promise<RunTestRecord> {
  const run = await store.run(runId)
  if (!run) throw new BenchError('NOT_FOUND', `there is no run ${runId}`)
  return await readRun(store, run, options, () => true)
}

/**
 * Reads every run in which this part has a result, newest first; of each, that part alone. NOT_FOUND when
 * none.
 */
export async function buildPartRecord(
  store: Store, part: string, options: RecordOptions = {}
): Promise<PartTestRecord> {
  const history = await store.partHistory(part)
  if (history.length === 0) throw new BenchError('NOT_FOUND', `no run has a result for part ${part}`)
  const runs: RunTestRecord[] = []
  for (const { run, result } of history) {
    runs.push(await readRun(store, run, options, position => position === result.position))
  }
  return { part, runs }
}

async function readRun(
  store: Store, run: RunRecord, options: RecordOptions, wanted: (position: string) => boolean,
): Promise<RunTestRecord> {
  const points = options.points ?? 300
  const [channels, events, results] =
    [await store.channels(run.id), await store.events(run.id), await store.results(run.id)]
  const busChannel = channels.find(
    channel => channel.position === undefined && channel.quantity === 'voltage'
  )
  const startMs = startOf(run, events) ?? await firstReadMs(store, run.id, busChannel ?? channels[0])
  const bus = await readTrace(store, run.id, busChannel, startMs, points)
  const durationS = durationOf(run, events, bus, startMs)
  const fixture = fixtureOf(run)
  const fineBus = await readTrace(store, run.id, busChannel, startMs, points * finer)
  const source: PartSource = {
    store, run, channels, events, startMs, durationS, points, fixture, bus: fineBus
  }
  const parts: RecordPart[] = []
  for (const loaded of allParts(run, results)) {
    if (wanted(loaded.position)) parts.push(await readPart(source, loaded))
  }
  const own = (event: StoredEvent): boolean => event.position === undefined || wanted(event.position)
  return {
    run, chainHead: await store.chainHead(run.id),
    chain: options.verify ? await verified(store, run.id) : null,
    durationS, startMs, bus, parts, instruments: instrumentsOf(run),
    partProfiles: partProfilesOf(run), continues: continuesOf(run), continuedBy: continuedBy(events),
    jig: jigWords(run, events), restNotes: restNotesOf(run), fixture,
    events: events.filter(own),
  }
}

function continuedBy(events: readonly StoredEvent[]): string | null {
  const run = events.findLast(({ kind }) => kind === 'continued')?.data?.['run']
  return typeof run === 'string' ? run : null
}

/**
 * Volts and current are combined in buckets this much finer than what is drawn: steps of the bus blur
 * less.
 */
const finer = 8

interface PartSource {
  store: Store; run: RunRecord; channels: Channel[]; events: StoredEvent[]
  startMs: number; durationS: number; points: number; fixture: FixtureNumbers | null; bus: Trace | null
}
type PartHead = Pick<RecordPart, 'position' | 'part' | 'profile' | 'condition' | 'note' | 'result'>

async function readPart(source: PartSource, head: PartHead): Promise<RecordPart> {
  const { store, run, startMs, points, fixture, bus } = source
  const channel = (quantity: Channel['quantity']): Channel | undefined =>
    source.channels.find(entry => entry.position === head.position && entry.quantity === quantity)
  const currentChannel = channel('current')
  const leakage = await readTrace(store, run.id, currentChannel, startMs, points)
  const caseTemperature = await readTrace(store, run.id, channel('temperature'), startMs, points)
  const spans = stagesOf(source.events, head.position, startMs, source.durationS)
  const measured = await readTrace(store, run.id, channel('voltage'), startMs, points)
  const fine = await readTrace(store, run.id, currentChannel, startMs, points * finer)
  const formal = formalSpanOf(source.events, head.position, startMs, spans)
  const computed = bus && fine && fixture ? thinned(
    partVolts(bus, fine, fixture, spans, formal), points
  ) : null
  const decay = leakage && currentChannel
    ? await leakageFit(store, run.id, currentChannel, { leakage, spans, startMs, result: head.result })
    : null
  const end = await endStateOf(
    { store, run, events: source.events, current: currentChannel }, head.position, head.result)
  const closes = closeWindowOf(run, head.result)
  return {
    ...head, end, closes, inService: inServiceIn(run, head.position), stages: spans,
    volts: measured ?? computed, leakage, caseTemperature, decay,
  }
}

/** Everything that was on a position or has a result, in the order of the positions. */
function allParts(run: RunRecord, results: readonly PartResult[]): PartHead[] {
  const heads = new Map<string, PartHead>()
  for (const { position, part, profile, condition, note } of partsOf(run)) {
    heads.set(position, { position, part, profile, condition, note, result: null })
  }
  for (const { position, part, run: before, why, result = null } of leftOutOf(run)) {
    const note = `Stays off the bus, run ${before} dropped it: ${why}`
    heads.set(position, { position, part, profile: result?.profile ?? '', condition: null, note, result })
  }
  for (const result of results) {
    const loaded = heads.get(result.position)
    const { position, part, profile } = result
    heads.set(position, { condition: null, note: '', ...loaded, position, part, profile, result })
  }
  return [...heads.values()].sort((a, b) => a.position.localeCompare(b.position, 'en', { numeric: true }))
}

async function readTrace(
  store: Store, runId: string, channel: Channel | undefined, startMs: number, points: number,
): Promise<Trace | null> {
  if (!channel) return null
  return traceOf(await store.levels(runId, channel.index, points), startMs, channel.unit)
}

/** The wall stamp of the start, told in monotonic time by an event that has both. */
function startOf(run: RunRecord, events: readonly StoredEvent[]): number | null {
  const first = events[0]
  return first ? first.atMs - Math.max(0, first.wallMs - run.startedWallMs) : null
}

/** A run that has just begun has readings before it has events. */
async function firstReadMs(store: Store, runId: string, channel: Channel | undefined): Promise<number> {
  const [first] = channel ? await store.levels(runId, channel.index, 1) : []
  return first?.atMs ?? 0
}

function durationOf(
  run: RunRecord, events: readonly StoredEvent[], bus: Trace | null, startMs: number
): number {
  const last = events[events.length - 1]
  const ended = run.endedWallMs === null ? 0 : (run.endedWallMs - run.startedWallMs) / 1000
  return Math.max(0, ended, last ? (last.atMs - startMs) / 1000 : 0, bus?.atS[bus.atS.length - 1] ?? 0)
}

/** Recomputes the chain: reads the whole run. */
export async function verified(store: Store, runId: string): Promise<{ holds: boolean; firstBreak: string }> {
  const broken = await store.verifyChain(runId)
  return { holds: broken === null, firstBreak: broken === null ? '' : `link ${broken.seq}: ${broken.what}` }
}
