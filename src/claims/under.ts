/** The conditions of a claim, as printed: each once, and none that does not belong to what is claimed. */
import type { Conditions, FigureQuantity } from '../schema/figure.ts'
import type { Amount } from './amounts.ts'
import type { Head } from './heads.ts'
import type { Item, Openable, Unread } from './items.ts'
import { conditionsOf, kinds } from './kinds.ts'

/** What is printed beside what is claimed. */
export interface Under {
  readonly set: Conditions
  readonly open: ReadonlySet<Openable>
  /** Distortion without a name beside it. */
  readonly isUnnamed: boolean
  readonly isRated: boolean
  /** The band is said to be what is measured in. */
  readonly isMeasured: boolean
  readonly lineV: number | null
  readonly ratio: number | null
  readonly times: { readonly count: number; readonly item: Item } | null
  readonly channel: { readonly name: string; readonly item: Item } | null
  readonly assumed: readonly string[]
}

interface Draft {
  readonly quantity: FigureQuantity
  readonly isRelative: boolean
  set: Conditions
  readonly open: Set<Openable>
  isUnnamed: boolean
  isRated: boolean
  isMeasured: boolean
  lineV: number | null
  ratio: number | null
  times: Under['times']
  channel: Under['channel']
  readonly assumed: string[]
}

/** All that is wrong is told at once. */
export function underOf(head: Head, items: readonly Item[]): Under | readonly Unread[] {
  const { quantity } = head.claimed[0]!
  const draft: Draft = {
    quantity, isRelative: head.isRelative, set: { ...head.under }, open: new Set(), isUnnamed: true,
    isRated: false, isMeasured: false, lineV: null, ratio: null, times: null, channel: null, assumed: [],
  }
  const rest = items.filter(item => !head.used.includes(item))
  // A frequency first: a band beside it is what is measured in.
  const inOrder = [...rest.filter(isFrequency), ...rest.filter(item => !isFrequency(item))]
  const unread = inOrder.flatMap(item => {
    const expected = take(draft, item)
    return expected === null ? [] : [{ at: item.at, end: item.end, expected }]
  })
  return unread.length > 0 ? unread.sort((a, b) => a.at - b.at) : draft
}

const isFrequency = (item: Item): boolean =>
  item.kind === 'amount' && item.amount.unit === 'Hz' && item.amount.shape === 'one'

const notHere = (quantity: FigureQuantity): string => `a condition that belongs to ${quantity}`

/** Puts one item in its place; what belongs there instead where it has none. */
function take(draft: Draft, item: Item): string | null {
  switch (item.kind) {
    case 'conditions': return merge(draft, item.set)
    case 'amount': return takeAmount(draft, item.amount)
    case 'measured': return takeMeasured(draft, item.low, item.high)
    case 'distortion': return takeName(draft, item.of)
    case 'any': draft.open.add(item.what); return null
    case 'rated': draft.isRated = true
      return isLevel(draft) ? null : notHere(draft.quantity)
    case 'line': return once(draft, 'lineV', item.lineV)
    case 'ratio': return onlyOf(draft, 'intermodulation') ?? once(draft, 'ratio', item.ratio)
    case 'times':
      return onlyOf(draft, 'output power') ?? once(draft, 'times', { count: item.count, item })
    case 'channel': return once(draft, 'channel', { name: item.name, item })
    case 'subject': return 'one claim at a time'
  }
}

const onlyOf = ({ quantity }: Draft, only: FigureQuantity): string | null =>
  quantity === only ? null : notHere(quantity)

function once<K extends 'lineV' | 'ratio' | 'times' | 'channel'>(
  draft: Draft, key: K, value: Draft[K],
): string | null {
  if (draft[key] !== null) return 'each condition once'
  draft[key] = value
  return null
}

const isLevel = ({ quantity, isRelative }: Draft): boolean => isRelative || kinds[quantity].level !== 'none'
const levels: readonly string[] = ['outputW', 'outputV', 'reference']

function merge(draft: Draft, set: Conditions): string | null {
  const allowed = conditionsOf(draft.quantity)
  for (const [name, value] of Object.entries(set)) {
    const key = name as keyof Conditions
    const isLevelHere = draft.isRelative && levels.includes(key)
    const isDrop = key === 'bandDb' && kinds[draft.quantity].level === 'half'
    if (!allowed.includes(key) && !isLevelHere && !isDrop) return notHere(draft.quantity)
    if (draft.set[key] !== undefined && draft.set[key] !== value) return 'each condition once'
  }
  draft.set = { ...draft.set, ...set }
  return null
}

function takeMeasured(draft: Draft, low: number, high: number): string | null {
  const { measures, frequency } = kinds[draft.quantity]
  if (!measures && frequency !== 'measured') return notHere(draft.quantity)
  draft.isMeasured = true
  return merge(draft, { bandLowHz: low, bandHighHz: high })
}

function takeName(draft: Draft, of: (Item & { kind: 'distortion' })['of']): string | null {
  if (!conditionsOf(draft.quantity).includes('distortion')) return notHere(draft.quantity)
  draft.isUnnamed = of === null
  return of === null || of === 'either' ? null : merge(draft, { distortionOf: of })
}

function takeAmount(draft: Draft, amount: Amount): string | null {
  const { quantity } = draft
  if (amount.unit === 'Hz') return takeHertz(draft, amount)
  if (amount.shape !== 'one') return notHere(quantity)
  const { value, unit, side } = amount
  if (unit === 'share' && side !== 'least') return merge(draft, { distortion: value })
  if (side !== null) return 'a condition, and no bound'
  switch (unit) {
    case 'W': return merge(draft, { outputW: value })
    case 'V': return merge(draft, { outputV: value })
    case 'dB': return merge(draft, { bandDb: Math.abs(value) })
    case '1': return 'a unit behind the number'
    default: return notHere(quantity)
  }
}

function takeHertz(draft: Draft, amount: Amount): string | null {
  const { frequency, measures } = kinds[draft.quantity]
  if (amount.shape === 'one') {
    return amount.side === null ? merge(draft, { frequencyHz: amount.value }) : 'a frequency, and no bound'
  }
  if (amount.shape === 'deviation' || amount.nominal !== null) return 'a band from one frequency to another'
  if (draft.set.frequencyHz !== undefined) {
    if (!measures) return 'one frequency or a band, not both'
    draft.assumed.push('band: what is measured in, as a frequency stands beside it')
  }
  return frequency === 'none' ? notHere(draft.quantity)
    : merge(draft, { bandLowHz: amount.low, bandHighHz: amount.high })
}
