/** What the bench looks like now, for every screen. */
import type { Clock } from '../base/clock.ts'
import type { Night } from '../engine/night.ts'
import { partVolts, type PositionState } from '../engine/position.ts'
import { mayBeCharged } from '../safety/held.ts'
import type { BenchStatus, PositionStatus } from '../schema/application.ts'
import { gradeWords, isOfPosition, type RunRecord } from '../schema/run.ts'
import type { PoweringStatus } from '../schema/powering.ts'
import type { ScreenStatus } from '../schema/screening.ts'

export function statusOf(input: {
  clock: Clock; bench: string; keeper: BenchStatus['keeper']; latched: BenchStatus['latched']
  left: BenchStatus['left']; unsafe: BenchStatus['unsafe']
  screening: { goesOn: boolean; status(): ScreenStatus | null }
  powering: { energy: BenchStatus['energy']; status(): PoweringStatus | null }
  current: { record: RunRecord; night: Night } | null
}): BenchStatus {
  const { clock, current } = input
  return {
    bench: input.bench, wallMs: clock.wallMs(), keeper: input.keeper, latched: input.latched,
    left: input.left, unsafe: unsafeBeside(input.unsafe, input.left, current?.night ?? null),
    // Sources come and go below touch-safe while parts are screened: on is the cautious word.
    energy: current?.night.state.live || input.screening.goesOn ? 'live'
      : current && isUnknown(current.night) ? 'unknown'
      : (current && mayBleed(current.night)) || input.left?.measuring ? 'bleeding' : input.powering.energy,
    run: current && runStatus(clock, current.record, current.night), screening: input.screening.status(),
    powering: input.powering.status(),
  }
}

/** Of what is told already, as left on the bus or in the run that goes on, nothing is told twice. */
function unsafeBeside(
  unsafe: BenchStatus['unsafe'], left: BenchStatus['left'], night: Night | null,
): BenchStatus['unsafe'] {
  const told = new Set([
    ...left?.positions.map(({ position }) => position) ?? [],
    ...night?.positions.map(({ spec }) => spec.name) ?? [],
  ])
  return unsafe.filter(({ position }) => !told.has(position))
}

/** Told to end, and not read back as off. */
const isUnknown = ({ state }: Night): boolean => state.ending !== undefined && state.offRead !== true

/** Its path did not pass bench-check, or was found to show nothing. */
const showsNothing = ({ fault, held }: PositionState): boolean =>
  fault !== null || held.state === 'unmeasured'

/** Before the bus was asked for anything only what lay there charged is bled. */
const mayBleed = ({ state, positions }: Night): boolean =>
  state.mostSetV > 0 || state.ending !== undefined
    || positions.some(({ stage, held }) => stage === 'bleeding' || mayBeCharged(held))

function runStatus(clock: Clock, record: RunRecord, night: Night): NonNullable<BenchStatus['run']> {
  const nowMs = night.clock.monotonicMs()
  const { ending = null } = night.state
  const remainingMs = ending ? null : Math.max(0, night.state.endsAtMs - nowMs)
  const elapsedS = (clock.wallMs() - record.startedWallMs) / 1000
  return {
    id: record.id, sequence: record.sequence, stage: night.state.stage,
    busV: night.sampler.busV?.value ?? null,
    targetV: night.plan.targetV, startedWallMs: record.startedWallMs, elapsedS,
    remainingS: remainingMs === null ? null : remainingMs / 1000,
    ending: ending && {
      as: ending.as, why: ending.why, wallMs: clock.wallMs() - (nowMs - ending.atMs),
    },
    durableUntilMs: night.recorder.durableUntilMs,
    positions: night.positions.map(position => ({
      position: position.spec.name, part: position.part.part, stage: position.stage,
      // What a path reads that was found to show nothing is nobody's volts.
      volts: showsNothing(position) ? null : partVolts(night.bench.fixture, position, night.state.watching),
      // On its bleeder it sends back what it holds, and that is no leakage.
      leakageA: position.wiring === 'bus' && position.current?.quality === 'good'
        ? position.current.value : null,
      limitA: position.limitA,
      caseC: position.caseC,
      endsWallMs: remainingMs === null || position.stage === 'dropped' || position.stage === 'graded'
        ? null : clock.wallMs() + remainingMs,
      ...judgedAs(position), touch: position.held.words,
    })),
  }
}

/** Grade of the part; what was found of its position alone is a note. */
function judgedAs(
  { result = null, note }: PositionState,
): Pick<PositionStatus, 'grade' | 'disposition' | 'provisional' | 'upTo' | 'note'> {
  if (result === null) return { grade: null, disposition: null, provisional: null, note }
  const { grade, disposition, provisional, upTo, reason } = result
  return isOfPosition(result)
    ? { grade: null, disposition: null, provisional: null, note: `${gradeWords(result)}: ${reason}` }
    : { grade, disposition, provisional, note, ...upTo && { upTo } }
}
