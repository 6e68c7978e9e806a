/**
 * The clock of a burn-in: it counts only while every condition holds (as the ageing of parts in MIL-STD-750
 * does, second hand), and keeps each gap with its reasons. Pure; its state is plain data, so that a restart
 * goes on from it. ms.
 */

export interface BurnInClock {
  readonly countedMs: number
  /** Monotonic time of the last look; null where none is to be compared with, as after a restart. */
  readonly lastMs: number | null
  readonly lastWallMs: number | null
  /** The gap that is open, or null while time counts. */
  readonly gap: ClockGap | null
  /** Closed gaps, the newest of them. */
  readonly gaps: readonly ClockGap[]
  /** Over all gaps, kept here or not: how many, and how long for each reason. */
  readonly gapCount: number
  readonly lostMs: Readonly<Record<string, number>>
}
export interface ClockGap {
  readonly fromWallMs: number
  /** Null while it is open. */
  readonly toWallMs: number | null
  readonly lengthMs: number
  /** In the order in which they came. */
  readonly reasons: readonly string[]
}
/** A look at the bench: what does not hold, in words; none, and time counts. */
export interface ClockLook {
  readonly atMs: number
  readonly wallMs: number
  readonly failing: readonly string[]
}

export const freshClock: BurnInClock = {
  countedMs: 0, lastMs: null, lastWallMs: null, gap: null, gaps: [], gapCount: 0, lostMs: {},
}

/** Between looks further apart nobody knows what was (our choice). */
export const lookApartMostMs = 30_000
export const notLooked = 'nobody looked'
export const notRunning = 'the burn-in was not running'
/** A night of flicker must not grow the record for ever. */
const gapsKept = 500

/** Time counts between two looks that both found everything in order, close enough to one another. */
export function lookAtClock(clock: BurnInClock, { atMs, wallMs, failing }: ClockLook): BurnInClock {
  const passedMs = clock.lastMs === null ? 0 : atMs - clock.lastMs
  const isBlind = passedMs > lookApartMostMs || passedMs < 0
  const now = { lastMs: atMs, lastWallMs: wallMs }
  if (isBlind) {
    const unseen = withGap(clock, clock.lastWallMs!, Math.max(0, passedMs), [notLooked])
    return settle({ ...unseen, ...now }, wallMs, failing)
  }
  if (clock.gap === null && failing.length === 0) {
    return { ...clock, ...now, countedMs: clock.countedMs + passedMs }
  }
  // What fails now failed since some time after the last look: that time does not count.
  const reasons = clock.gap === null ? failing : clock.gap.reasons
  const lost = withGap(clock, clock.lastWallMs ?? wallMs, passedMs, reasons)
  return settle({ ...lost, ...now }, wallMs, failing)
}

/** After a restart: the time since the last look is a gap, of the length that the wall clock tells. */
export function resumeClock(clock: BurnInClock, wallMs: number): BurnInClock {
  if (clock.lastWallMs === null) return clock
  const lengthMs = Math.max(0, wallMs - clock.lastWallMs)
  const lost = withGap(clock, clock.lastWallMs, lengthMs, [notRunning])
  return { ...lost, lastMs: null, lastWallMs: wallMs }
}

/** Adds a stretch that does not count to the gap that is open, or opens one. */
function withGap(
  clock: BurnInClock, fromWallMs: number, lengthMs: number, reasons: readonly string[],
): BurnInClock {
  const before = clock.gap ?? { fromWallMs, toWallMs: null, lengthMs: 0, reasons: [] }
  const gap = {
    ...before, lengthMs: before.lengthMs + lengthMs, reasons: [...new Set([...before.reasons, ...reasons])],
  }
  const lostMs = { ...clock.lostMs }
  for (const reason of reasons) lostMs[reason] = (lostMs[reason] ?? 0) + lengthMs
  return { ...clock, gap, lostMs, gapCount: clock.gapCount + (clock.gap === null ? 1 : 0) }
}

/** Closes the gap where nothing fails any more, else keeps what fails now. */
function settle(clock: BurnInClock, wallMs: number, failing: readonly string[]): BurnInClock {
  if (clock.gap === null) return clock
  if (failing.length > 0) {
    const reasons = [...new Set([...clock.gap.reasons, ...failing])]
    return { ...clock, gap: { ...clock.gap, reasons } }
  }
  return { ...clock, gap: null, gaps: [...clock.gaps, { ...clock.gap, toWallMs: wallMs }].slice(-gapsKept) }
}
