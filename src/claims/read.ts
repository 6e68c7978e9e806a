/**
 * Reads what a unit is said to do: words that people print, to claims. Nothing is guessed: what cannot be
 * read is told with its place, and what is meant without being printed is said. The grammar: docs/units.md.
 */
import { plainSigns } from '../marks/decode.ts'
import { claim, type Claim } from '../schema/claims.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import { assume, type Assumed, type Rating } from './assume.ts'
import { headOf, type Claimed, type Head } from './heads.ts'
import type { Item, Unread } from './items.ts'
import { kinds } from './kinds.ts'
import { scan } from './scan.ts'
import { underOf, type Under } from './under.ts'

export type { Rating } from './assume.ts'

/** Column counts signs from 1. */
export interface ClaimProblem { readonly column: number; readonly expected: string; readonly got: string }

export type ReadClaim =
  | {
    readonly ok: true
    /** Two where both ends of a band are claimed; one a channel where channels are rated differently. */
    readonly claims: readonly Claim[]
    /** What was meant without being printed, one sentence each. */
    readonly assumed: readonly string[]
  }
  | {
    readonly ok: false
    readonly problems: readonly ClaimProblem[]
    /** Pieces that were understood, in order. */
    readonly understood: readonly string[]
    /** Words that were not. */
    readonly left: readonly string[]
  }

const lengthMax = 600

/** What claims are held against where the unit is known: `rated output` is the output of its channels. */
export const ratingsOf = ({ channels }: Pick<UnitProfile, 'channels'>): Rating[] =>
  channels.map(({ name, input: { sourceOhm }, output: { ratedW, loadOhm } }) =>
    ({ name, ratedW, loadOhm, sourceOhm }))

/** Never throws. `ratings`: of the channels of the unit; none where no unit is known. */
export function readClaim(given: string, ratings: readonly Rating[] = []): ReadClaim {
  if (given.length > lengthMax) {
    const problem = { column: lengthMax + 1, expected: `at most ${lengthMax} signs`, got: `${given.length}` }
    return { ok: false, problems: [problem], understood: [], left: [] }
  }
  const text = plainSigns(given)
  const { items, unread } = scan(text)
  if (unread.length > 0) return refused(text, unread, items, unread)
  const head = headOf(items, text.length)
  if ('expected' in head) return refused(text, [head], items)
  const under = underOf(head, items)
  if (isUnread(under)) return refused(text, under, items)
  const wrong = [...ofChannels(under, ratings), ...ofValues(head, under, items)]
  if (wrong.length > 0) return refused(text, wrong, items)
  const whole = { at: 0, end: text.length }
  const read = byChannel(head, under, ratings)
  if ('missing' in read) return refused(text, read.missing.map(expected => ({ ...whole, expected })), items)
  return read.claims.every(isPossible) ? { ok: true, ...read }
    : refused(text, [{ ...whole, expected: 'figures that a unit can have' }], items)
}

const isUnread = (given: Under | readonly Unread[]): given is readonly Unread[] => Array.isArray(given)

/** `left`: words that were not understood at all. */
function refused(
  text: string, wrong: readonly Unread[], items: readonly Item[], left: readonly Unread[] = [],
): ReadClaim {
  const piece = ({ at, end }: { at: number; end: number }): string => text.slice(at, end).trim()
  return {
    ok: false,
    problems: wrong.map(one => {
      const isWhole = one.at === 0 && one.end === text.length && !left.includes(one)
      const got = isWhole ? 'none' : JSON.stringify(piece(one))
      return { column: one.at + 1, expected: one.expected, got }
    }),
    understood: items.filter(item => item.end > item.at).map(piece), left: left.map(piece),
  }
}

/** Channels that the unit does not have. */
function ofChannels({ channel, times }: Under, ratings: readonly Rating[]): Unread[] {
  if (ratings.length === 0) return []
  const at = ({ at: from, end }: Item): { at: number; end: number } => ({ at: from, end })
  const names = ratings.map(({ name }) => name)
  const unknown = channel && !names.includes(channel.name)
    ? [{ ...at(channel.item), expected: `one of the unit's channels: ${names.join(', ')}` }] : []
  const applies = channel ? 1 : names.length
  const count = times && times.count !== applies
    ? [{ ...at(times.item), expected: `${applies} x: of so many channels of the unit this is claimed` }] : []
  return [...unknown, ...count]
}

/** Figures that nothing can have. */
function ofValues({ claimed }: Head, { set }: Under, items: readonly Item[]): Unread[] {
  const place = (unit: string): { at: number; end: number } =>
    items.find(item => item.kind === 'amount' && item.amount.unit === unit) ?? { at: 0, end: 1 }
  const bounds = claimed.flatMap(({ quantity, least, most }) => {
    const { sense, unit } = kinds[quantity]
    const { at, end } = place(unit)
    const isOrdered = least === undefined || most === undefined || least < most
    const isSigned = sense === 'signed' || quantity === 'gain'
    const isPositive = isSigned || [least, most].every(value => value === undefined || value > 0)
    return [
      ...isOrdered ? [] : [{ at, end, expected: 'room between what is least and what is most' }],
      ...isPositive ? [] : [{ at, end, expected: 'a figure above 0' }],
    ]
  })
  const isNothing = Object.entries(set).some(([key, value]) =>
    typeof value === 'number' && value <= 0 && key !== 'sourceOhm' && key !== 'ambientC')
  return isNothing ? [...bounds, { at: 0, end: 1, expected: 'conditions above 0' }] : bounds
}

/** In SI units, 0 apart; no quantity of a unit lies beyond (ours). */
const isUsual = (value: unknown): boolean =>
  typeof value !== 'number' || value === 0 || Math.abs(value) >= 1e-9 && Math.abs(value) <= 1e9

/** What follows from what was read, like the load of a line, is looked at as well. */
const isPossible = (one: Claim): boolean => claim.safeParse(one).success
  && (kinds[one.quantity].sense === 'signed' || one.quantity === 'gain' || one.least !== 0 && one.most !== 0)
  && [one.least, one.most, ...Object.values(one.conditions)].every(isUsual)

interface Made { readonly claims: readonly Claim[]; readonly assumed: readonly string[] }
interface Lacking { readonly missing: readonly string[] }

/** One claim of all channels, or one of each where what is assumed differs between them. */
function byChannel(head: Head, under: Under, ratings: readonly Rating[]): Made | Lacking {
  const { channel } = under
  const applied = channel ? ratings.filter(({ name }) => name === channel.name) : ratings
  if (applied.length === 0) return made(head, under, null)
  const each = applied.map(rating => ({ name: rating.name, read: made(head, under, rating) }))
  const lacking = each.find(({ read }) => 'missing' in read)
  if (lacking) return lacking.read
  const all = each.flatMap(({ name, read }) => 'claims' in read ? [{ name, ...read }] : [])
  const [{ claims, assumed }] = all as [typeof all[number]]
  if (all.every(one => JSON.stringify(one.claims) === JSON.stringify(claims))) return { claims, assumed }
  return {
    claims: all.flatMap(one => one.claims.map(of => ({ ...of, channel: one.name }))),
    assumed: all.flatMap(one => one.assumed.map(note => `${one.name}: ${note}`)),
  }
}

function made(head: Head, under: Under, rating: Rating | null): Made | Lacking {
  const all = head.claimed.map(claimed => {
    const claimedW = claimed.quantity === 'output power' ? claimed.least ?? claimed.most ?? null : null
    return { claimed, assumed: assume(claimed.quantity, under, rating, claimedW) }
  })
  const told = all.map(one =>
    head.isRelative ? volts(one.claimed, one.assumed, under, rating) : one)
  const missing = told.flatMap(one => one.assumed.missing)
  if (missing.length > 0) return { missing: [...new Set(missing)] }
  const channel = under.channel ? { channel: under.channel.name } : {}
  return {
    claims: told.map(({ claimed, assumed: { set } }) => ({ ...claimed, conditions: set, ...channel })),
    assumed: [...new Set([...head.assumed, ...told.flatMap(one => one.assumed.notes)])],
  }
}

/** Decibels below a level as volts; the level is then no condition any more. */
function volts(
  claimed: Claimed, { set, notes, missing }: Assumed, { isRated }: Under, rating: Rating | null,
): { claimed: Claimed; assumed: Assumed } {
  const { outputW = isRated ? rating?.ratedW : undefined, outputV, reference: _, ...rest } = set
  const loadOhm = set.loadOhm ?? rating?.loadOhm
  const isLoaded = outputW !== undefined && loadOhm !== undefined
  const level = outputV ?? (isLoaded ? Math.sqrt(outputW * loadOhm) : undefined)
  if (level === undefined) {
    const more = 'watts and ohms of that output, or --unit with its profile'
    return { claimed, assumed: { set: rest, notes, missing: [...missing, more] } }
  }
  const most = level * 10 ** (-claimed.most! / 20)
  const shown = (value: number): string => `${Number(value.toPrecision(4))} V`
  const said = `${claimed.most} dB below ${shown(level)} is ${shown(most)}`
  return {
    claimed: { quantity: claimed.quantity, most }, assumed: { set: rest, notes: [...notes, said], missing },
  }
}
