/** Readings as lines to draw: buckets of the store, in seconds from the start of the run. */
import type { Stage } from '../schema/run.ts'
import { stages } from '../schema/run.ts'
import type { Bucket, Series, StoredEvent } from '../schema/store.ts'
import type { FixtureNumbers } from './setup.ts'

/**
 * One line: time in s from the start of the run, ascending; lowest, mean and highest value, null where
 * none is good.
 */
export interface Trace {
  unit: string
  atS: number[]
  min: (number | null)[]
  mean: (number | null)[]
  max: (number | null)[]
  readings: number
  /** Readings that were not good; they are in no value. */
  bad: number
}

export interface StageSpan {
  stage: Stage
  fromS: number
  toS: number
  /** Told of this position alone, not of the run as a whole. */
  own: boolean
}

export function traceOf(buckets: readonly Bucket[], startMs: number, unit: string): Trace {
  const trace: Trace = { unit, atS: [], min: [], mean: [], max: [], readings: 0, bad: 0 }
  for (const bucket of buckets) {
    trace.atS.push((bucket.atMs - startMs) / 1000)
    trace.min.push(finite(bucket.min))
    trace.mean.push(finite(bucket.mean))
    trace.max.push(finite(bucket.max))
    trace.readings += bucket.count
    trace.bad += bucket.bad
  }
  return trace
}

/** Good readings of a series as single points. */
export function pointsOf(series: Series, startMs: number): { atS: number; value: number }[] {
  const points: { atS: number; value: number }[] = []
  for (let i = 0; i < series.atMs.length; i++) {
    const value = series.value[i]!
    if (series.quality[i] === 0 && Number.isFinite(value)) points.push({
      atS: (series.atMs[i]! - startMs) / 1000, value
    })
  }
  return points
}

/** The stages of one position from the events of the run, the last one up to `endS`. */
export function stagesOf(
  events: readonly StoredEvent[], position: string, startMs: number, endS: number
): StageSpan[] {
  const spans: StageSpan[] = []
  for (const event of events) {
    if (event.position !== undefined && event.position !== position) continue
    const stage = stageTold(event)
    const last = spans[spans.length - 1]
    if (stage === null || (last && final.has(last.stage))
      || (last?.stage === stage && event.position === undefined)) {
      continue
    }
    const fromS = (event.atMs - startMs) / 1000
    if (last) last.toS = fromS
    spans.push({ stage, fromS, toS: Math.max(fromS, endS), own: event.position !== undefined })
  }
  return spans
}

/**
 * What an event says of the stage: a `stage` event by data or text, a part dropped, condemned or graded,
 * the bench off.
 */
function stageTold(event: StoredEvent): Stage | null {
  if (event.kind === 'stage') {
    const told = event.data?.['stage'] ?? event.text
    return isStage(told) ? told : null
  }
  if (event.position === undefined) return event.kind === 'trip' || event.kind === 'off' ? 'bleeding' : null
  return ['drop', 'condemned', 'unjudged'].includes(event.kind) ? 'dropped'
    : event.kind === 'grade' ? 'graded' : null
}

const final: ReadonlySet<Stage> = new Set<Stage>(['dropped', 'graded'])

/**
 * Stages in which the position relay holds the part on the bus; elsewhere bus volts say nothing about the
 * part.
 */
const onBus: ReadonlySet<Stage> = new Set<Stage>(['polarity', 'forming', 'soaking', 'formal'])

/** When the low resistor lay across the limiting one of a part, in seconds from the start of the run. */
export interface FormalSpan { fromS: number; toS: number }

/**
 * The formal reading of one position through the low resistor, from the events that say that it began and
 * ended; where none tells of its end, to the next formal reading or the end of the stage. Null where none was
 * taken so.
 */
export function formalSpanOf(
  events: readonly StoredEvent[], position: string, startMs: number, spans: readonly StageSpan[],
): FormalSpan | null {
  const formal = events.filter(event => event.kind === 'formal')
  const begins = (event: StoredEvent): boolean => event.data?.['on'] !== false
  const index = formal.findIndex(event => event.position === position && begins(event))
  const first = formal[index]
  if (!first || first.data?.['lowResistor'] === false) return null
  const fromS = (first.atMs - startMs) / 1000
  const stage = spans.find(span => span.stage === 'formal' && span.toS >= fromS)
  const next = formal[index + 1]
  return { fromS, toS: next ? (next.atMs - startMs) / 1000 : stage?.toS ?? fromS }
}

/** Current out of the part that stands for more than this at its bleeder shows that it is off the bus, V. */
const leavingV = 5
/** About the ends of a formal reading the resistor is on its way, s. */
const movingS = 5

/**
 * Volts of the part itself: bus volts less I·R of what is in series. Null while the part is on its own
 * bleeder, and where one value may be of both. Without stages the part is taken as on the bus. `formal`: when
 * the low resistor lay across the limiting one.
 */
export function partVolts(
  bus: Trace, current: Trace, fixture: FixtureNumbers, spans: readonly StageSpan[],
  formal: FormalSpan | null = null,
): Trace {
  const mean: (number | null)[] = []
  let at = 0
  let span = 0
  let left = false
  for (let i = 0; i < bus.atS.length; i++) {
    const atS = bus.atS[i]!
    while (at + 1 < current.atS.length && current.atS[at + 1]! <= atS) at++
    while (span + 1 < spans.length && spans[span + 1]!.fromS <= atS) { span++; left = false }
    const stage = spans.length === 0 ? 'forming' : spans[span]!.fromS <= atS ? spans[span]!.stage : 'waiting'
    // Parts leave the bus at the end of a stage that goes on: what flows out of one shows it.
    left ||= (current.min[at] ?? 0) * fixture.limitOhm < -leavingV
    // A bucket that runs on past the release holds discharge current, which is none of the bus.
    const next = spans[span + 1]
    const untilS = current.atS[at + 1] ?? Infinity
    const mixed = next !== undefined && !onBus.has(next.stage) && untilS > next.fromS
    const ohm = seriesOhm(
      fixture, formal, current.atS[at] ?? atS, Math.max(atS, Math.min(untilS, bus.atS[i + 1] ?? Infinity))
    )
    const held = onBus.has(stage) && !left && !mixed && current.atS.length > 0
    mean.push(held && ohm !== null ? less(bus.mean[i], current.mean[at], ohm) : null)
  }
  return { ...bus, mean, min: [...mean], max: [...mean] }
}

/** A trace of means in at most `points` points, each the mean of those it stands for; gaps stay gaps. */
export function thinned(trace: Trace, points: number): Trace {
  const step = Math.max(1, Math.ceil(trace.atS.length / points))
  const atS: number[] = []
  const mean: (number | null)[] = []
  for (let from = 0; from < trace.atS.length; from += step) {
    const good = trace.mean.slice(from, from + step).filter(value => value !== null)
    atS.push(trace.atS[from]!)
    mean.push(good.length === 0 ? null : good.reduce((sum, value) => sum + value, 0) / good.length)
  }
  return { ...trace, atS, mean, min: [...mean], max: [...mean] }
}

/** Ohms in series from `fromS` to `toS`; null where the low resistor moved between them. */
function seriesOhm(
  fixture: FixtureNumbers, formal: FormalSpan | null, fromS: number, toS: number
): number | null {
  const { limitOhm, senseOhm, formalOhm } = fixture
  if (formal === null || formalOhm === undefined || toS < formal.fromS - movingS
    || fromS > formal.toS + movingS) {
    return limitOhm + senseOhm
  }
  if (fromS < formal.fromS || toS > formal.toS - movingS) return null
  return senseOhm + limitOhm * formalOhm / (limitOhm + formalOhm)
}

function less(volts: number | null | undefined, amps: number | null | undefined, ohm: number): number | null {
  if (volts === null || volts === undefined || amps === null || amps === undefined) return null
  return volts - amps * ohm
}

function isStage(value: unknown): value is Stage { return (stages as readonly unknown[]).includes(value) }
function finite(value: number): number | null { return Number.isFinite(value) ? value : null }
