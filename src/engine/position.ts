/**
 * One position of the fixture during a run: what is on it, how it is wired now, and what was last seen of it.
 */
import type { FixtureSpec, PositionSpec } from '../schema/bench.ts'
import type { PartProfile } from '../schema/part-profile.ts'
import { bleedOhm, limitingOhm } from '../schema/fixture.ts'
import { partProfile } from '../schema/part-profile.ts'
import type { Measured } from '../schema/reading.ts'
import type { LoadedPart, PartResult, Stage } from '../schema/run.ts'
import { unread, type Held } from '../safety/held.ts'
import type { Verdict } from '../safety/verdict.ts'

export interface PositionState {
  readonly index: number
  readonly spec: PositionSpec
  readonly part: LoadedPart
  readonly profile: PartProfile
  /** What bench-check found wrong with its path, and nobody found right since; null where nothing. */
  readonly fault: string | null
  /** Why it may be charged from an earlier run, whatever it reads; null where nothing says so. */
  unsettled: string | null
  /** Why its path shows nothing of the part any more, in words; null while it may. */
  lost: string | null
  stage: Stage
  wiring: 'released' | 'bus'
  /** What its relay was told last; between an order and its end it differs from `wiring`. */
  ordered: 'released' | 'bus'
  formal: boolean
  /** Latest current, positive into the part, and how many in a row were the same to the bit. */
  current: Measured | null
  repeats: number
  currentAtBusV: number
  /** The most it took since the set-point of the bus stands where it is. */
  peak: Peak | null
  caseC: number | null
  /** The last good reading of its can, and why that may not be the can's doing, in words. */
  caseSeen: { readonly celsius: number; readonly atMs: number; readonly doubt: string | null } | null
  limitA: number | null
  note: string
  /** What the supervisor said of the part when it dropped it. */
  verdict: Verdict | null
  /** Highest part voltage seen by this path, volts: the "known voltage" of a proof of dead. */
  knownV: number
  /** What it is known to hold, and what may be said of touching it. */
  held: Held
  /** What it took, and stood at, when it was dropped; volts null where the path could not tell. */
  leftWith: { amps: number; uA: number; volts: number | null } | null
  /** The most it was seen to stand at after it was dropped, volts. */
  bledV: number | null
  /** Capacitance that the bridge found before any energy, farads; null where it did not measure. */
  seenF: number | null
  result: PartResult | null
}

export interface Peak { readonly setV: number; readonly amps: number }

/**
 * What stands for a part where there is none: stray capacitance of a holder and its
 * leads, about 10 pF (common practice).
 */
export const emptyHolder: PartProfile = partProfile.parse({
  name: 'empty-position', kind: 'aluminium-electrolytic', capacitanceF: 1e-11, ratedV: 1000,
  leakage: { family: 'general' }, dissipationMax: 1,
})

export function freshPosition(
  index: number, spec: PositionSpec, part: LoadedPart, profile: PartProfile,
  fault: string | null = null,
): PositionState {
  return {
    index, spec, part, profile, fault, unsettled: null, lost: null, stage: 'waiting', wiring: 'released',
    ordered: 'released', formal: false,
    current: null, repeats: 0, currentAtBusV: 0, peak: null, caseC: null, caseSeen: null, limitA: null,
    note: '',
    verdict: null, knownV: 0, held: unread, leftWith: null, bledV: null, seenF: null, result: null,
  }
}

/** Resistance between bus and part, or of the discharge path, ohms, the sense resistor included. */
export function seriesOhm(
  fixture: FixtureSpec, position: { wiring: 'released' | 'bus'; formal: boolean }, watching: boolean,
): number {
  if (position.wiring === 'released') {
    return bleedOhm(fixture) + (watching ? fixture.watchOhm ?? 0 : 0) + fixture.senseOhm
  }
  return limitingOhm(fixture, position.formal) + fixture.senseOhm
}

/** Volts on the part: bus less the drop, or what drives the discharge current. Null until measured. */
export function partVolts(fixture: FixtureSpec, position: PositionState, watching: boolean): number | null {
  if (position.current === null || position.current.quality !== 'good') return null
  const drop = position.current.value * seriesOhm(fixture, position, watching)
  return position.wiring === 'bus' ? position.currentAtBusV - drop : -drop
}
