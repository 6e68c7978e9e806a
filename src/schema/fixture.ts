/**
 * What follows from a fixture's wiring: with changeover relays, or one part wired to the
 * bus for good. Pure; SI units.
 */
import { assert } from '../base/assert.ts'
import type { FixtureSpec, PositionSpec } from './bench.ts'

/** What only relays that change over between the bus and a bleeder have. */
export const changeoverKeys = ['bleederOhm', 'bleederW', 'relayMakeA', 'relayBreakV', 'relayBreakA'] as const
export type Changeover = { readonly [K in (typeof changeoverKeys)[number]]: number }

/**
 * Ratings of the changeover relays and their bleeders, or null where the part is wired to the bus for good.
 */
export function changeoverOf(fixture: FixtureSpec): Changeover | null {
  const { bleederOhm, bleederW, relayMakeA, relayBreakV, relayBreakA } = fixture
  if (bleederOhm === undefined) return null
  assert(bleederW !== undefined && relayMakeA !== undefined && relayBreakV !== undefined
    && relayBreakA !== undefined,
    'a fixture with bleeders has the ratings of its relays')
  return { bleederOhm, bleederW, relayMakeA, relayBreakV, relayBreakA }
}

/**
 * What a part bleeds through once it is released, ohms; without a bleeder of its own
 * that is the way back over the bus.
 */
export const bleedOhm = ({ bleederOhm, limitOhm, busBleederOhm }: FixtureSpec): number =>
  bleederOhm ?? limitOhm + busBleederOhm

/**
 * Between the bus and a part, ohms: the limiting resistor, with the formal one beside it where that is in.
 */
export const limitingOhm = ({ limitOhm, formalOhm }: FixtureSpec, formal: boolean): number =>
  formal && formalOhm !== undefined ? 1 / (1 / limitOhm + 1 / formalOhm) : limitOhm

/** What a part that is a dead short takes from a bus at `volts`, amperes. */
export const shortOf = ({ limitOhm, senseOhm }: FixtureSpec, volts: number): number =>
  volts / (limitOhm + senseOhm)

/** The changeover relay of a position that has one. */
export function relayOf({ name, relay }: PositionSpec): number {
  assert(relay !== undefined, `${name} has a relay`)
  return relay
}
