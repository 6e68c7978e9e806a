/** What the record says of one run of a unit: holds, trips, touching, courses thinned for drawing. Pure. */
import { z } from 'zod'
import { isUnitSequence, type UnitSequence } from '../schema/powering.ts'
import type { PartResult, RunEvent, RunRecord } from '../schema/run.ts'
import type { Bucket } from '../schema/store.ts'
import { unitProfile, type UnitProfile } from '../schema/unit-profile.ts'
import { continuesOf } from './setup.ts'
import { traceOf } from './traces.ts'
import type { UnitRun } from './unit-record.ts'
import type { UnitRecordCourse, UnitRecordRun } from './unit-record-schema.ts'

/** Null where it is no number: JSON has none such. */
export const numberOr = (value: number | undefined): number | null =>
  value !== undefined && Number.isFinite(value) ? value : null

/** Points of a course, at most. */
export const pointsMost = 300

const profileSetup = z.looseObject({ name: z.string(), hash: z.string(), profile: z.unknown() })

/** The unit profile of a run with its hash; null where the run has none that can be read. */
export function profileOf(run: RunRecord): { hash: string; profile: UnitProfile } | null {
  const setup = profileSetup.safeParse(run.setup['profile'])
  const read = setup.success ? unitProfile.safeParse(setup.data.profile) : null
  return read?.success ? { hash: setup.data!.hash, profile: read.data } : null
}

/** Runs of other sequences have no place in the record. */
export function sequenceOf({ id, sequence }: RunRecord): UnitSequence {
  if (!isUnitSequence(sequence)) throw new Error(`run ${id} is no run of a whole unit`)
  return sequence
}

/** What a run of its kind is for has come of it. */
export function hasFindings(sequence: UnitSequence, result: PartResult | null): boolean {
  if (sequence === 'first-power') return result !== null
  return sequence === 'verify' ? result?.unit !== undefined : result?.unit?.burnIn !== undefined
}

export const gaveMains = (events: readonly RunEvent[]): boolean =>
  events.some(({ kind }) => kind === 'energise')

export function runRow(given: UnitRun): UnitRecordRun {
  const { run, events, result, chainHead, chain } = given
  const { id, state, startedWallMs, endedWallMs, person, use, bench, software } = run
  const setup = profileSetup.safeParse(run.setup['profile']).data
  return {
    id, sequence: sequenceOf(run), state, startedWallMs, endedWallMs, person, use, bench, software,
    unitProfile: setup?.name ?? '', unitProfileHash: setup?.hash ?? '',
    continues: continuesOf(run), chainHead, chain: chain && { ...chain },
    why: whyOf(events), grade: result?.grade ?? null, reason: result?.reason ?? '',
    holds: holdsOf(events), trips: tripsOf(events),
    warnings: events.filter(({ severity, kind }) => severity === 'warning' && !toldElsewhere.includes(kind))
      .map(({ wallMs, text }) => ({ wallMs, says: text })),
    touch: touchOf(id, state, events), courses: given.series.map(one => courseOf(one, startOf(given))),
  }
}

/** Monotonic time of the start, told by an event that has both times. */
function startOf({ run, events, series }: UnitRun): number {
  const [first] = events
  if (first) return first.atMs - Math.max(0, first.wallMs - run.startedWallMs)
  const firsts = series.flatMap(({ buckets: [bucket] }) => bucket ? [bucket.atMs] : [])
  return firsts.length === 0 ? 0 : Math.min(...firsts)
}

/** Warnings that have a place of their own in the record. */
const toldElsewhere: readonly string[] = ['touch', 'claim', 'left', 'refused']

const isTrip = ({ severity }: RunEvent): boolean => severity === 'trip' || severity === 'fatal'

const endings: readonly string[] = ['refused', 'stop', 'end-not-written']
const whyOf = (events: readonly RunEvent[]): string =>
  (events.find(isTrip) ?? events.findLast(({ kind }) => endings.includes(kind)))?.text ?? ''

function holdsOf(events: readonly RunEvent[]): UnitRecordRun['holds'] {
  const asked = events.filter(({ kind }) => kind === 'hold')
  const answers = events.filter(({ kind }) => kind === 'go-on')
  return asked.map((event, i) => {
    const untilMs = asked[i + 1]?.atMs ?? Infinity
    const answer = answers.find(({ atMs, data }) =>
      data?.['id'] === event.data?.['id'] && atMs >= event.atMs && atMs <= untilMs)
    const person = answer?.data?.['person']
    return {
      id: String(event.data?.['id'] ?? ''), says: event.text, mainsOn: event.data?.['mainsOn'] === true,
      askedWallMs: event.wallMs, person: typeof person === 'string' ? person : null,
      wentOnWallMs: answer?.wallMs ?? null,
    }
  })
}

const tripsOf = (events: readonly RunEvent[]): UnitRecordRun['trips'] =>
  events.filter(isTrip)
    .map(({ wallMs, text, data }) => {
      const [limit, ms] = [data?.['id'], data?.['faultToDisconnectedMs']]
      return {
        wallMs, says: text, limit: typeof limit === 'string' ? limit : null,
        faultToDisconnectedMs: numberOr(typeof ms === 'number' ? ms : undefined),
      }
    })

/**
 * The last word on touching the unit; it counts only where no mains came after it, as does that of a person
 * who acknowledged. Null where this run never gave it mains.
 */
function touchOf(
  run: string, state: RunRecord['state'], events: readonly RunEvent[],
): UnitRecordRun['touch'] {
  const energised = events.findLastIndex(({ kind }) => kind === 'energise')
  if (energised < 0) return null
  const since = events.slice(energised)
  const person = since.findLast(({ kind }) => kind === 'acknowledged')
  const said = since.findLast(({ kind }) => kind === 'touch')
  if (person && said?.data?.['isDead'] !== true) {
    return { run, wallMs: person.wallMs, isSafe: true, words: `a person said what was found: ${person.text}` }
  }
  if (said) return { run, wallMs: said.wallMs, isSafe: said.data?.['isDead'] === true, words: said.text }
  const words = state === 'running' || state === 'prepared'
    ? 'NOT SAFE TO TOUCH: mains may be on, the run has no end on record'
    : 'NOT SAFE TO TOUCH: UNMEASURED (nothing was said of its rails after mains came on)'
  return { run, wallMs: null, isSafe: false, words }
}

function courseOf({ channel, buckets }: UnitRun['series'][number], startMs: number): UnitRecordCourse {
  const { atS, min, mean, max, readings, bad } =
    traceOf(mergedBuckets(buckets, pointsMost), startMs, channel.unit)
  return { channel: channel.name, quantity: channel.quantity, unit: channel.unit, atS, min, mean, max,
    readings, bad }
}

/** At most so many buckets, each of those that follow one another: none of their peaks is lost. */
export function mergedBuckets(buckets: readonly Bucket[], most: number): readonly Bucket[] {
  const step = Math.ceil(buckets.length / most)
  if (step <= 1) return buckets
  const merged: Bucket[] = []
  for (let from = 0; from < buckets.length; from += step) {
    merged.push(oneOf(buckets.slice(from, from + step)))
  }
  return merged
}

function oneOf(buckets: readonly Bucket[]): Bucket {
  const one: Bucket = { atMs: buckets[0]!.atMs, min: NaN, mean: NaN, max: NaN, count: 0, bad: 0 }
  let [sum, good] = [0, 0]
  for (const { min, mean, max, count, bad } of buckets) {
    one.count += count
    one.bad += bad
    if (!Number.isFinite(mean)) continue
    sum += mean * (count - bad)
    good += count - bad
    if (!(min >= one.min)) one.min = min
    if (!(max <= one.max)) one.max = max
  }
  return { ...one, mean: good === 0 ? NaN : sum / good }
}
