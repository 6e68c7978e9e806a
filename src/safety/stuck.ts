/** Readings that do not move when what they measure must have moved. Pure; SI units. */
import { formatSi } from '../base/format.ts'
import type { Machine } from './watch.ts'

// ---- the bus meter against the set-point ----

export interface FollowInput {
  readonly atMs: number
  readonly volts: number
  /** Set-point of the bus at this time, volts. */
  readonly askedV: number
}

export interface FollowState {
  /** The last reading that counts as a move, or the latest one while nothing is asked. */
  readonly anchor: FollowInput | null
  readonly movedV: number
  /** How often in a row, and since when, the bus was seen short of where it was asked to be. */
  readonly count: number
  readonly sinceMs: number
  readonly atMs: number
}

/** A move of the set-point of this size must show … */
export const mustShowV = 10
/**
 * … by more than this when it goes up; a falling bus may be slow, so there only a repeat to the bit counts …
 */
const stillV = 0.5
/** … within this time and this many readings. */
const stillMs = 2000
const stillSamples = 3

/**
 * A bus that already stands where it is asked to go, or beyond, need not move: parts may hold it up. So a
 * meter that reads exactly zero on a bus that is to stay at zero is no fault.
 */
export const followMachine: Machine<FollowState, FollowInput> = {
  fresh: { anchor: null, movedV: 0, count: 0, sinceMs: 0, atMs: 0 },
  step: (state, input) => {
    const { anchor } = state
    const start: FollowState = { ...followMachine.fresh, anchor: input }
    if (anchor === null || input.askedV === anchor.askedV) return start
    const movedV = input.askedV - anchor.askedV
    const isStill = movedV > 0 ? Math.abs(input.volts - anchor.volts) < stillV : input.volts === anchor.volts
    if (!isStill) return start
    const isShort = movedV > 0 ? input.volts < input.askedV - stillV : input.volts > input.askedV + stillV
    if (!isShort) return { ...start, anchor, movedV }
    const sinceMs = state.count === 0 ? input.atMs : state.sinceMs
    return { anchor, movedV, count: state.count + 1, sinceMs, atMs: input.atMs }
  },
  says: ({ anchor, movedV, count, sinceMs, atMs }) =>
    Math.abs(movedV) >= mustShowV && count >= stillSamples && atMs - sinceMs >= stillMs
      ? `stays at ${anchor!.volts.toPrecision(4)} V while the set-point moved by ${movedV.toFixed(1)} V: `
        + 'a stuck meter, a lead off, or the cutoff open'
      : null,
}

// ---- the sense meter against the bus ----

/** A bus reading, or one of the sense meter on a position that is on the bus. */
export type SenseInput = { readonly atMs: number; readonly busV: number } | {
  readonly atMs: number
  /** Index of the position that was read. */
  readonly position: number
  readonly amps: number
  /** Standard uncertainty of the reading. */
  readonly uA: number
  /** Least capacitance of the part, and the resistance it charges through. */
  readonly farad: number
  readonly ohm: number
}

interface Rest { readonly volts: number; readonly untilMs: number }
/** `shared`: more than one position gave it. `leastV`, `mostV`: of the bus as its readings came. */
interface Run {
  readonly amps: number; readonly count: number; readonly position: number; readonly shared: boolean
  readonly rest: Rest | null; readonly leastV: number; readonly mostV: number
}
export interface SenseState {
  readonly busV: number
  readonly busAtMs: number
  /** The bus has stood within `restV` of `fromV` since. */
  readonly fromV: number
  readonly sinceMs: number
  /** Readings that repeat to the bit, and where the bus last rested while they did. */
  readonly run: Run | null
  readonly movedV: number
  /** How many of them in a row, to the last, came while the bus had moved so that the current had to. */
  readonly still: number
  readonly isStuck: boolean
}

const restV = 0.2
const restMs = 5000
/** The meter is told by the current that the move asks for, so a small move tells where that is much. */
const senseMoveV = 2
/** A reading may have begun before the bus moved. */
const stillReadings = 2
/**
 * A current well above the last digits that stays the same so often while the bus went from one voltage to
 * another, by this share at least: whatever leaks, leaks more at more volts (modelling choice).
 */
const loneRepeats = 10
const loneU = 100
const loneShare = 0.1
/**
 * So many equal readings in a row, not all of one position and well above the meter's
 * last digits, are no coincidence.
 */
const sharedRepeats = 20
/** A change of this many standard uncertainties shows on every meter, however coarse its last digit. */
const shownU = 10
/** A current of so many standard uncertainties or fewer cannot be told from zero. */
const zeroU = 2

/**
 * The meter, not one position: the run of equal readings goes across all positions that the scanner puts
 * before it. From a bus at rest to one that moves, a part's current must change by what charges it.
 * Zero is let through: it is what a quiet channel reads. So is what cannot be told from it while one
 * position alone gives it: an open part reads so, in the last digits of the meter again and again, and a part
 * that takes nothing is found by the charge that it lacks.
 */
export const senseMachine: Machine<SenseState, SenseInput> = {
  fresh: { busV: NaN, busAtMs: 0, fromV: NaN, sinceMs: 0, run: null, movedV: 0, still: 0, isStuck: false },
  step: (state, input) => 'busV' in input ? seeBus(state, input.atMs, input.busV) : seeSense(state, input),
  says: ({ isStuck, run, movedV }) => isStuck ? stuckWords(run!, movedV) : null,
}

function stuckWords(run: Run, movedV: number): string {
  const byV = Math.abs(movedV) >= senseMoveV ? movedV : run.mostV - run.leastV
  const where = isEverywhere(run)
    ? 'at more than one position' : `while the bus moved by ${byV.toFixed(1)} V`
  return `repeats ${formatSi(run.amps, 'A', 4)} to the bit ${where}: the sense meter is stuck`
}

const isEverywhere = ({ shared, count }: Run): boolean => shared && count >= sharedRepeats

function seeBus(state: SenseState, atMs: number, busV: number): SenseState {
  const isNear = Math.abs(busV - state.fromV) < restV
  const fromV = isNear ? state.fromV : busV
  const sinceMs = isNear ? state.sinceMs : atMs
  const seen = { ...state, busV, busAtMs: atMs, fromV, sinceMs }
  const rest = restOf(seen)
  return rest === null || state.run === null ? seen : { ...seen, run: { ...state.run, rest } }
}

const restOf = ({ fromV, sinceMs, busAtMs }: SenseState): Rest | null =>
  busAtMs - sinceMs >= restMs ? { volts: fromV, untilMs: busAtMs } : null

function seeSense(state: SenseState, input: Exclude<SenseInput, { busV: number }>): SenseState {
  const { run, busV, busAtMs } = state
  const { amps, position } = input
  const repeats = run !== null && amps === run.amps && !isQuiet(input, run)
  const next: Run =
    repeats ? {
      ...run, count: run.count + 1, shared: run.shared || position !== run.position,
      leastV: least(run.leastV, busV), mostV: -least(-run.mostV, -busV),
    } : { amps, count: 1, position, shared: false, rest: restOf(state), leastV: busV, mostV: busV }
  const isShown = Math.abs(amps) >= shownU * input.uA
  if (isEverywhere(next) && isShown || staysWhileBusMoves(next, input.uA)) {
    return { ...state, run: next, isStuck: true }
  }
  const { rest } = next
  if (rest === null || next.count < stillSamples) return { ...state, run: next, still: 0 }
  const movedV = busV - rest.volts
  const chargingA = leastChargingA(Math.abs(movedV), (busAtMs - rest.untilMs) / 1000, input)
  const mustMove = Math.abs(movedV) >= senseMoveV && chargingA >= shownU * input.uA
  const still = mustMove ? state.still + 1 : 0
  return { ...state, run: next, movedV, still, isStuck: still >= stillReadings }
}

/** NaN: the bus was not read yet. */
const least = (a: number, b: number): number => Number.isNaN(a) || b < a ? b : a

function staysWhileBusMoves({ count, amps, leastV, mostV }: Run, uA: number): boolean {
  const movedV = mostV - leastV
  return count >= loneRepeats && Math.abs(amps) >= loneU * uA
    && movedV >= senseMoveV && movedV >= loneShare * mostV
}

const isQuiet = ({ amps, uA, position }: Exclude<SenseInput, { busV: number }>, run: Run): boolean =>
  amps === 0 || Math.abs(amps) <= zeroU * uA && position === run.position && !run.shared

/** Current into C through R after its source has moved by `movedV` in `overS` at a steady rate. */
function leastChargingA(
  movedV: number, overS: number, { farad, ohm }: { farad: number; ohm: number },
): number {
  const tauS = farad * ohm
  if (!(overS > 0)) return 0
  return (farad * movedV / overS) * -Math.expm1(-overS / tauS)
}
