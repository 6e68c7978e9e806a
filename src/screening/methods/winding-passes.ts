/**
 * A transformer of more windings than a jig has leads: which two parts of windings are measured together, one
 * pair after the other, so that each is held against the first; and how a person is told to move the leads.
 * Pure.
 */
import type { Move } from './leads-moved.ts'

/** A winding from one of its leads to another; points count from its beginning, 0. */
export interface Stretch {
  /** From 1. */
  readonly winding: number
  readonly from: number
  readonly to: number
  /** The last point of the winding: its end. */
  readonly last: number
  readonly turns: number
}
/** `one` lies at terminals 1 and 2, `other` at 3 and 4, beginnings first. */
export interface Pass { readonly one: Stretch; readonly other: Stretch }

const whole = (parts: readonly number[], i: number): Stretch => ({
  winding: i + 1, from: 0, to: parts.length, last: parts.length,
  turns: parts.reduce((sum, turns) => sum + turns, 0),
})
const stretches = (parts: readonly number[], i: number): Stretch[] => parts.map((turns, k) =>
  ({ winding: i + 1, from: k, to: k + 1, last: parts.length, turns }))

/**
 * Every part of every other winding against the whole first one; the parts of the first one, where it has
 * taps, against the whole second one. At least two windings.
 */
export function passesOf(windings: readonly (readonly number[])[]): Pass[] {
  const [first, second] = windings as [readonly number[], readonly number[]]
  const others = windings.flatMap((parts, i) => i === 0 ? [] : stretches(parts, i))
    .map(other => ({ one: whole(first, 0), other }))
  const ofFirst = first.length === 1 ? []
    : stretches(first, 0).map(other => ({ one: whole(second, 1), other }))
  return [...others, ...ofFirst]
}

const point = (at: number, last: number): string => at === 0 ? 'beginning' : at === last ? 'end' : `tap ${at}`

export const nameOf = ({ winding, from, to, last }: Stretch): string => from === 0 && to === last
  ? `winding ${winding}` : `winding ${winding} from ${point(from, last)} to ${point(to, last)}`

const led = (stretch: Stretch, [high, low]: readonly [1, 2] | readonly [3, 4]): string => {
  const { winding, from, to, last } = stretch
  const its = (at: number): string => point(at, last)
  return `lead ${high} to ${from > 0 && from < last ? '' : 'the '}${its(from)} of winding ${winding}, ` +
    `lead ${low} to its ${its(to)}`
}

/** What hands do before the first pass. */
export const ledFirst = ({ one, other }: Pass): string => `${led(one, [1, 2])}, ${led(other, [3, 4])}`

/** What hands do between two passes, and which pairs of leads are seen to come off. */
export function moveTo(before: Pass, { one, other }: Pass): Move {
  const isSame = before.one.winding === one.winding
  const second = led(other, [3, 4])
  return isSame ? { text: `take leads 3 and 4 off, then ${second}`, pairs: [{ high: 3, low: 4 }] } : {
    text: `take all leads off, then ${led(one, [1, 2])}, ${second}`,
    pairs: [{ high: 1, low: 2 }, { high: 3, low: 4 }],
  }
}
