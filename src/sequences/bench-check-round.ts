/** One round of checks: what was found so far, how readings are taken, and what is said at the end. */
import { next, nextOf } from '../engine/bus.ts'
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import { emptyHolder, seriesOhm } from '../engine/position.ts'
import { failed, resultOf, yesNo } from './bench-check-judge.ts'
import type { Bleeder } from './bench-check-discharge.ts'
import type { Check, Seen, Unshown } from './bench-check-judge.ts'
import type { BenchCheckParameters } from './bench-check-plan.ts'

export type Currents = Map<PositionState, Seen>

export interface Round {
  readonly night: Night
  readonly p: BenchCheckParameters
  readonly checks: Check[]
  readonly unshown: Unshown[]
  /** What is wrong with a position, in words; the first that was found. */
  readonly faults: Map<PositionState, string>
  /** What the sense meter reads where nothing flows. */
  zero: Currents
  /** Bleeders that were seen to be right, as they were measured. */
  readonly bleeders: Map<PositionState, Bleeder>
  /** Positions whose part was released and sent nothing back: it may have stayed on the bus. */
  readonly silent: Set<PositionState>
}

export const newRound = (night: Night, p: BenchCheckParameters): Round =>
  ({
    night, p, checks: [], unshown: [], faults: new Map(), zero: new Map(), bleeders: new Map(),
    silent: new Set(),
  })

/**
 * Notes a check and puts it on record; true when it passed. `why` says in words what is wrong with the
 * position when it did not. At once: whatever ends this run, what was found has its effect on the next.
 */
export function note({ night, checks, faults }: Round, check: Check, why?: string): boolean {
  checks.push(check)
  const passed = !failed(check)
  if (!passed && check.position && why !== undefined && !faults.has(check.position)) {
    faults.set(check.position, why)
  }
  void say(night, faults, check).catch(() => {})
  return passed
}

// ---- positions ----

export const isEmpty = ({ profile }: PositionState): boolean => profile === emptyHolder
export const isDummy = (night: Night, { index }: PositionState): boolean =>
  night.bench.fixture.dummyOhm !== undefined && index === night.bench.fixture.positions.length - 1
export const living = (night: Night): PositionState[] =>
  night.positions.filter(({ stage }) => stage !== 'dropped')
/** Positions with a test part at which nothing was found wrong. */
export const soundParts = ({ night, faults }: Round): PositionState[] =>
  living(night).filter(position => !isEmpty(position) && !faults.has(position))
export const namesOf = (positions: readonly PositionState[]): string =>
  positions.map(({ spec }) => spec.name).join(' ')

/** Of the bleeder alone as the bench file has it, ohms. */
export const bleederOhm = ({ bench: { fixture } }: Night): number =>
  seriesOhm(fixture, { wiring: 'released', formal: false }, false) - fixture.senseOhm

// ---- readings ----

/** How often a position is read when all are read one after the other without a pause, ms. */
const hurryMs = 200
export const readEveryMs = ({ plan }: Pick<Night, 'plan'>): number => Math.max(hurryMs, 1000 * plan.sweepS)
export const hurry = (night: Night, ms: number): void => { night.sampler.hurry(ms, hurryMs) }

export async function readAll({ night, p }: Round): Promise<Currents> {
  night.sampler.hurry(1000 * p.readings + 5000, 500)
  return new Map(await Promise.all(night.positions.map(async position =>
    [position, await mean(night, position, p.readings)] as const)))
}

/** A meter reads zero within so many standard uncertainties. */
const zeroU = 2

/**
 * What the meter itself reads at rest. More than it can be wrong by is a current that flows, of a part that
 * gives back what it absorbed: it dies away, and is no zero of the meter.
 */
export const restingZero = (seen: Currents): Currents => new Map([...seen].map(([position, one]) =>
  [position, Math.abs(one.value) <= zeroU * one.u ? one : { ...one, value: 0 }]))

/** The meter's own error does not average out, so the uncertainty stays that of one reading. */
export async function mean(night: Night, { spec }: PositionState, count: number): Promise<Seen> {
  let sum = 0
  let last = { u: 0, atMs: night.clock.monotonicMs() }
  for (let i = 0; i < count; i++) {
    const reading = await next(night, `${spec.name}.current`, last.atMs)
    sum += reading.value
    last = reading
  }
  return { value: sum / count, u: last.u, atMs: last.atMs }
}

export async function busNow(night: Night): Promise<Seen> {
  const { value, u, atMs } = await next(night, night.channels.busVoltage.name, night.clock.monotonicMs())
  return { value, u, atMs }
}

/**
 * Currents that leave a released part, positive, one after the other for `ms`, and two
 * at least where any come.
 */
export async function followCurrent(
  { night, zero }: Round, position: PositionState, ms: number,
): Promise<Seen[]> {
  const untilMs = night.clock.monotonicMs() + ms
  const seen: Seen[] = []
  while (seen.length < 2 || night.clock.monotonicMs() < untilMs) {
    const reading = await nextOf(night, position, night.clock.monotonicMs())
    if (reading === null) break
    const { value, u } = zero.get(position)!
    seen.push({ value: value - reading.value, u: Math.hypot(reading.u, u), atMs: reading.atMs })
  }
  return seen
}

/** The time in which something happened, monotonic ms. */
export interface Span { fromMs: number; byMs: number }

export async function timed({ clock }: Night, act: () => Promise<unknown>): Promise<Span> {
  const fromMs = clock.monotonicMs()
  await act()
  return { fromMs, byMs: clock.monotonicMs() }
}

// ---- the end ----

export async function report(round: Round): Promise<void> {
  const { night, checks, unshown, faults } = round
  for (const text of unshown) {
    await night.recorder.event({ kind: 'check-unshown', text: `not shown: ${text}` })
  }
  for (const position of night.positions) {
    const stays = position.stage !== 'dropped'
    // What condemns the part says nothing against its position, nor does a part that nobody named.
    const isMade = stays || position.verdict?.grade !== 'reject' && !isEmpty(position)
    note(round, { position, what: 'stays on to the end', criterion: yesNo(stays, position.note), isMade })
    position.result = resultOf(position, checks, faults)
    if (stays) position.stage = 'graded'
  }
}

async function say(night: Night, faults: Round['faults'], check: Check): Promise<void> {
  const { position, what, criterion, isMade = true, volts } = check
  const where = position === null ? '' : `${position.spec.name} `
  const why = (position && faults.get(position)) ?? criterion.source
  const bad = failed(check)
  await night.recorder.event({
    kind: bad ? 'check-failed' : 'check', severity: bad ? 'warning' : 'info',
    ...(position === null ? {} : { position: position.spec.name }),
    text: bad ? `${where}${what}: ${why}` : `${where}${what}: passed`,
    data: {
      isMade, value: criterion.value, unit: criterion.unit, expandedU: criterion.expandedU,
      grade: criterion.grade,
      ...volts === undefined ? { check: what } : { check: what.replace(`${volts} V`, 'voltage'), volts },
    },
  })
}
