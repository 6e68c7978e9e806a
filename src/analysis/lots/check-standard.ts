/**
 * A check standard: one known part measured again and again, to know that a fixture still measures right. A
 * pure machine of readings and repairs; times and parts are the caller's.
 *
 * Rules (common practice for control charts; deviations in standard deviations of one reading):
 * - beyond three: out of control;
 * - two of three in a row beyond two on the same side: out of control;
 * - eight in a row on the same side: out of control.
 * Out of control stays so until someone says what was put right; then three readings in a row within two
 * standard deviations bring control back, and one beyond does not. A reading that is no number is out of
 * control.
 */
import { assert } from '../../base/assert.ts'
import { sd as sampleSd, mean } from '../statistics.ts'

export interface CheckStandard {
  /** What it should read, in its unit, and the standard deviation of one reading of it. */
  target: number
  sd: number
}

export type CheckEvent = { kind: 'reading'; value: number } | { kind: 'put right' }
export type CheckRule =
  'beyond three' | 'two of three beyond two' | 'eight on one side' | 'no number' | 'not confirmed'

export interface CheckState {
  /** Parts may be graded `in control` alone. */
  status: 'in control' | 'out of control' | 'to confirm'
  /**
   * Deviations since control was last established, in standard deviations; the newest last, eight at most.
   */
  recent: readonly number[]
  /** Readings taken so far. */
  readings: number
  /**
   * Number (from 1) of the last reading that is not in doubt, 0 for none: what was measured after it is
   * suspect when control is lost.
   */
  lastGood: number
  /** The rule that took control away; undefined in control. */
  rule: CheckRule | undefined
}

/**
 * A standard whose target and spread come from readings taken when all was well. Asserts eight that differ.
 */
export function baseline(values: ArrayLike<number>): CheckStandard {
  assert(values.length >= 8, `a baseline needs eight readings, got ${values.length}`)
  const spread = sampleSd(values)
  assert(spread > 0, 'a baseline needs readings that differ: take one digit more, or state the spread')
  return { target: mean(values), sd: spread }
}

/** Before the first reading nothing is confirmed. */
export const firstCheckState: CheckState = {
  status: 'to confirm', recent: [], readings: 0, lastGood: 0, rule: undefined,
}

const toConfirm = 3

/** One step. Asserts a finite target and sd > 0; a reading may be anything. */
export function checkStep(standard: CheckStandard, state: CheckState, event: CheckEvent): CheckState {
  const { target, sd } = standard
  assert(Number.isFinite(target) && sd > 0, 'a check standard needs a target and an sd above 0')
  if (event.kind === 'put right') return { ...state, status: 'to confirm', recent: [], rule: undefined }
  const readings = state.readings + 1
  const away = (event.value - target) / sd
  if (!Number.isFinite(away)) return { ...state, readings, status: 'out of control', rule: 'no number' }
  const recent = [...state.recent, away].slice(-8)
  if (state.status === 'out of control') return { ...state, readings }
  if (state.status === 'to confirm') return confirming({ ...state, readings, recent }, away)
  const broken = brokenRule(recent)
  if (!broken) return { ...state, readings, recent, lastGood: readings }
  const { rule, run } = broken
  return { ...state, readings, recent, status: 'out of control', rule, lastGood: readings - run }
}

function confirming(state: CheckState, away: number): CheckState {
  if (Math.abs(away) > 2) return { ...state, status: 'out of control', rule: 'not confirmed' }
  if (state.recent.length < toConfirm) return state
  return { ...state, status: 'in control', lastGood: state.readings }
}

/** The rule broken, and how many of the newest readings are part of it. */
function brokenRule(recent: readonly number[]): { rule: CheckRule; run: number } | undefined {
  const newest = recent.at(-1)!
  const sign = Math.sign(newest)
  if (Math.abs(newest) > 3) return { rule: 'beyond three', run: 1 }
  const far = recent.slice(-3).map(v => v * sign > 2)
  if (far.at(-1) && far.filter(Boolean).length >= 2) {
    return { rule: 'two of three beyond two', run: far.length - far.indexOf(true) }
  }
  const oneSide = recent.length === 8 && sign !== 0 && recent.every(v => v * sign > 0)
  return oneSide ? { rule: 'eight on one side', run: 8 } : undefined
}
