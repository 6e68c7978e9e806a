/**
 * When inspection of successive lots is tightened, reduced or stopped. A pure machine. The rules are from
 * memory of MIL-STD-105E; its text was not read. Its table of limit numbers for reduced inspection is not
 * carried: who wants reduced inspection states the limit.
 */
import { assert } from '../../base/assert.ts'
import type { Severity } from './sampling.ts'

export interface InspectedLot {
  /** Bad parts found in the sample on original inspection (resubmitted lots do not count). */
  bad: number
  ac: number
  re: number
  /** False when production was irregular; reduced inspection then ends. */
  steady?: boolean
  /**
   * Limit number for the sum of bad parts in the last ten samples, when reduced inspection is wanted and
   * allowed; without it normal inspection goes on.
   */
  reducedLimit?: number
}

export interface SwitchingState {
  severity: Severity | 'stopped'
  /** Lots since this severity began, newest last, ten at most: bad parts, and whether accepted. */
  lots: readonly { bad: number; accepted: boolean }[]
}

export const firstSwitchingState: SwitchingState = { severity: 'normal', lots: [] }

export interface SwitchingStep {
  state: SwitchingState
  accepted: boolean
  /** Why the severity changed; undefined when it did not. */
  reason: string | undefined
}

/**
 * Takes the result of one lot. A lot on reduced inspection with more than `ac` but fewer than `re` bad parts
 * is accepted, and normal inspection follows. Asserts whole numbers with ac < re, and that inspection is not
 * stopped.
 */
export function switchingStep(state: SwitchingState, lot: InspectedLot): SwitchingStep {
  assert(state.severity !== 'stopped', 'inspection is stopped until the source has been put right')
  assert(Number.isInteger(lot.bad) && lot.bad >= 0, `bad parts are a whole number, got ${lot.bad}`)
  assert(Number.isInteger(lot.ac) && Number.isInteger(lot.re) && lot.ac < lot.re, 'ac must be below re')
  const accepted = state.severity === 'reduced' ? lot.bad < lot.re : lot.bad <= lot.ac
  const lots = [...state.lots, { bad: lot.bad, accepted }].slice(-10)
  const change = changeOf(state.severity, lots, lot)
  if (!change) return { state: { severity: state.severity, lots }, accepted, reason: undefined }
  return { state: { severity: change.to, lots: [] }, accepted, reason: change.reason }
}

/** Inspection begins anew, tightened, once the source has been put right. */
export const restartedSwitching: SwitchingState = { severity: 'tightened', lots: [] }

interface Change { to: SwitchingState['severity']; reason: string }

function changeOf(from: Severity, lots: SwitchingState['lots'], lot: InspectedLot): Change | undefined {
  if (from === 'normal') return fromNormal(lots, lot)
  return from === 'tightened' ? fromTightened(lots) : fromReduced(lot)
}

function fromNormal(lots: SwitchingState['lots'], lot: InspectedLot): Change | undefined {
  if (lots.slice(-5).filter(l => !l.accepted).length >= 2) {
    return { to: 'tightened', reason: 'two of five or fewer lots in a row were rejected' }
  }
  const total = lots.reduce((sum, l) => sum + l.bad, 0)
  const good = lots.length === 10 && lots.every(l => l.accepted) && lot.steady !== false
  if (!good || lot.reducedLimit === undefined || total > lot.reducedLimit) return undefined
  return { to: 'reduced', reason: `ten lots in a row were accepted with ${total} bad parts in their samples` }
}

function fromTightened(lots: SwitchingState['lots']): Change | undefined {
  if (lots.length >= 5 && lots.slice(-5).every(l => l.accepted)) {
    return { to: 'normal', reason: 'five lots in a row were accepted' }
  }
  if (lots.length < 10) return undefined
  return { to: 'stopped', reason: 'ten lots in a row stayed on tightened inspection' }
}

function fromReduced({ bad, ac, re, steady }: InspectedLot): Change | undefined {
  if (bad >= re) return { to: 'normal', reason: 'a lot was rejected' }
  if (bad > ac) return { to: 'normal', reason: 'a lot was accepted above its acceptance number' }
  return steady === false ? { to: 'normal', reason: 'production was irregular' } : undefined
}
