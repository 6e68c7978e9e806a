/**
 * A transformer of more windings than a jig has leads: which two parts of windings are measured together, one
 * pair after the other, so that each is held against the first; and how a person is told to move the leads.
 * Pure but for `leadsMoved`.
 */
import type { Jig, Pair } from '../../schema/jig.ts'
import type { Guide } from './guide.ts'
import { mostWindingOhm } from './windings.ts'

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
export function moveTo(before: Pass, { one, other }: Pass): { text: string; pairs: readonly Pair[] } {
  const isSame = before.one.winding === one.winding
  const second = led(other, [3, 4])
  return isSame ? { text: `take leads 3 and 4 off, then ${second}`, pairs: [{ high: 3, low: 4 }] } : {
    text: `take all leads off, then ${led(one, [1, 2])}, ${second}`,
    pairs: [{ high: 1, low: 2 }, { high: 3, low: 4 }],
  }
}

const pauseMs = 50
/** Looks until a person is not waited for any more: some three minutes with the meter. */
const looksMost = 1000
/** Looks in a row that agree show that hands are off; a contact that never agrees is taken as it is. */
const [restingLooks, restlessLooks] = [20, 120]
/** Looks agree within this share, or this many ohms of clips (common practice). */
const [agreeShare, agreeOhm] = [0.02, 0.3]

/** `kept on`: they were never seen off; `open`: they came off, and nothing conducted since. */
export async function leadsMoved(
  jig: Jig, guide: Guide, { text, pairs }: ReturnType<typeof moveTo>,
): Promise<'moved' | 'kept on' | 'open'> {
  guide.say(text)
  const wasOff = pairs.map(() => false)
  let last: number[] = []
  let [rested, onLooks] = [0, 0]
  for (let look = 0; look < looksMost; look++) {
    const ohms: number[] = []
    for (const [i, pair] of pairs.entries()) {
      const { value, quality } = await jig.resistance(pair, { mostOhm: mostWindingOhm, wires: 2 })
      if (quality !== 'good') wasOff[i] = true
      ohms.push(quality === 'good' ? Math.abs(value) : Infinity)
    }
    const isOn = wasOff.every(Boolean) && ohms.every(ohm => ohm < Infinity)
    onLooks = isOn ? onLooks + 1 : 0
    rested = isOn && agree(ohms, last) ? rested + 1 : 0
    last = ohms
    if (rested >= restingLooks || onLooks >= restlessLooks) return 'moved'
    guide.goesOn()
    await jig.rest(pauseMs)
  }
  return wasOff.every(Boolean) ? 'open' : 'kept on'
}

const agree = (ohms: readonly number[], last: readonly number[]): boolean => ohms.every((ohm, i) =>
  Math.abs(ohm - (last[i] ?? Infinity)) <= Math.max(agreeOhm, agreeShare * ohm))
