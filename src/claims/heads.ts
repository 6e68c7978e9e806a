/** What is claimed: the quantity with its bounds, taken out of what was read. */
import type { Conditions, FigureQuantity } from '../schema/figure.ts'
import type { Amount, AmountUnit } from './amounts.ts'
import { written } from './figures.ts'
import type { Item, Subject, Unread } from './items.ts'
import { kinds, type Kind } from './kinds.ts'

export interface Bounds { readonly least?: number; readonly most?: number }
export interface Claimed extends Bounds { readonly quantity: FigureQuantity }

export interface Head {
  readonly claimed: readonly Claimed[]
  /** Items that are used up. */
  readonly used: readonly Item[]
  readonly under: Conditions
  /** Decibels below a level, which become volts once that level is known. */
  readonly isRelative: boolean
  readonly assumed: readonly string[]
}

export type Pieces = readonly Item[]
type AmountItem = Item & { kind: 'amount' }

/** What is claimed, or what is missing for it; `end` is where the text ends. */
export function headOf(items: Pieces, end: number): Head | Unread {
  const subjects = items.filter(item => item.kind === 'subject')
  const [first, second] = subjects
  if (second) {
    const expected = `one claim at a time; the first is of ${first!.subject}`
    return { at: second.at, end: second.end, expected }
  }
  const from = first ?? items[0]
  const missing = (expected: string): Unread => ({ at: from?.at ?? 0, end: from?.end ?? end, expected })
  const head = first ? heads[first.subject](items) : unnamed(items)
  if (typeof head === 'string') return missing(head)
  return first ? { ...head, used: [...head.used, first] } : head
}

type Told = Head | string

const one = (
  quantity: FigureQuantity, bounds: Bounds, used: readonly Item[], more: Partial<Head> = {},
): Head => ({ claimed: [{ quantity, ...bounds }], used, under: {}, isRelative: false, assumed: [], ...more })

/** The first amount of that unit that is not said to be a condition. */
const amountOf = (items: Pieces, unit: AmountUnit): AmountItem | undefined =>
  items.find((item): item is AmountItem =>
    item.kind === 'amount' && !item.isAt && item.amount.unit === unit)

const examples: Readonly<Record<AmountUnit, string>> = {
  W: '40 W', V: '0.5 mV', share: '1 %', dB: '45 dB', Hz: '20 Hz', Ω: '8 Ω', s: '10 ms',
  '°C': '25 °C', 1: '20',
}

/** Bounds from an amount; in words what is missing. */
function boundsOf(amount: Amount, sense: Kind['sense']): Bounds | string {
  if (amount.shape === 'range') return { least: amount.low, most: amount.high }
  if (amount.shape === 'deviation') {
    return sense === 'signed' ? { least: amount.low, most: amount.high }
      : 'a figure, and not a tolerance alone'
  }
  const { value, side } = amount
  if (sense === 'signed') {
    return side === null || side === 'least' ? 'how far it may go either way, like ± 1 dB or +0.5/-1 dB'
      : { least: -Math.abs(value) || 0, most: Math.abs(value) }
  }
  if (side === 'within' && sense !== 'most') return 'at least, at most, or a tolerance'
  if (side === 'least' || side === 'most') return { [side]: value }
  return sense === 'named' ? 'at least, at most, or a tolerance like ± 1 dB'
    : { [sense]: value }
}

/** One amount in the unit of the quantity, by its usual side. */
function usual(quantity: FigureQuantity, items: Pieces, change = (amount: Amount) => amount): Told {
  const { unit, sense } = kinds[quantity]
  const item = amountOf(items, unit)
  if (!item) return `a figure of ${quantity}, like ${examples[unit]}`
  const amount = change(item.amount)
  const bounds = boundsOf(amount, sense)
  if (typeof bounds === 'string') return bounds
  const isTaken = sense === 'signed' && amount.shape === 'one'
  const taken = isTaken ? [`${words(amount)} is taken as ± ${written(Math.abs(amount.value), unit)}`] : []
  return one(quantity, bounds, [item], { assumed: taken })
}

const words = (amount: Amount & { shape: 'one' }): string =>
  `${amount.side === 'within' ? 'within ' : ''}${written(amount.value, amount.unit)}`

/** People write how far something is down with a minus or without. */
function down(amount: Amount): Amount {
  if (amount.shape === 'one') return { ...amount, value: Math.abs(amount.value) }
  const [a, b] = [Math.abs(amount.low), Math.abs(amount.high)]
  return { ...amount, low: Math.min(a, b), high: Math.max(a, b) }
}

function power(items: Pieces): Told {
  const head = usual('output power', items)
  if (typeof head === 'string') return head
  const { amount } = head.used[0] as AmountItem
  if (amount.shape === 'one' && amount.isMax) {
    return 'at least or at most: a maximum may be what it gives, or what it never exceeds'
  }
  const rms = amount.notes.includes('rms') ? ['RMS watts are taken as the average power of a sine'] : []
  return { ...head, assumed: [...head.assumed, ...rms] }
}

const unnamedDistortion = 'distortion: harmonic (THD), as nothing else is printed'

function distortion(items: Pieces): Told {
  const name = items.find(item => item.kind === 'distortion')
  if (name?.of === 'either') return 'THD or THD+N, one of the two'
  const head = usual(name?.of ?? 'thd', items)
  if (typeof head === 'string') return head
  const assumed = name?.of ? [] : [unnamedDistortion]
  return { ...head, used: [...head.used, ...name ? [name] : []], assumed: [...head.assumed, ...assumed] }
}

/** In decibels with their weighting. */
function signalToNoise(items: Pieces): Told {
  const head = usual('signal to noise', items, down)
  if (typeof head === 'string') return head
  const { amount } = head.used[0] as AmountItem
  return amount.notes.includes('A') ? { ...head, under: { weighting: 'A' } } : head
}

const levelAgainst = 'what the decibels are below, like 70 dB below rated output, or volts'
const isBelow = (item: Item): boolean =>
  item.kind === 'rated' || item.kind === 'conditions' && (item.set.outputW ?? item.set.outputV) !== undefined

/** Volts, or decibels below a level. */
const noise = (items: Pieces): Told => {
  if (amountOf(items, 'V')) return usual('noise', items)
  const isOpen = items.some(item => item.kind === 'any' && item.what === 'level')
  if (amountOf(items, 'dB') && !isOpen && !items.some(isBelow)) return levelAgainst
  return amountOf(items, 'dB') ? signalToNoise(items)
    : 'a figure of noise, like 0.5 mV or 70 dB below rated output'
}

function hum(items: Pieces): Told {
  if (amountOf(items, 'V')) return usual('hum', items)
  const item = amountOf(items, 'dB')
  if (!item) return 'a figure of hum, like 1 mV or 70 dB below rated output'
  if (!items.some(isBelow)) return levelAgainst
  const amount = down(item.amount)
  if (amount.shape !== 'one') return 'one figure of hum'
  return one('hum', { most: amount.value }, [item], { isRelative: true })
}

/** Little crosstalk is much separation. */
function crosstalk(items: Pieces): Told {
  return usual('separation', items, given => {
    const amount = down(given)
    if (amount.shape !== 'one') return amount
    const side = amount.side === 'most' ? 'least' : amount.side === 'least' ? 'most' : amount.side
    return { ...amount, side }
  })
}

/** Volts to either side, whichever side is printed. */
const dcOffset = (items: Pieces): Told => usual('dc offset', items, amount =>
  amount.shape === 'one' && amount.side === null ? { ...amount, side: 'most' } : amount)

/** A deviation within a band, or where it is down by some decibels. */
function response(items: Pieces): Told {
  const item = amountOf(items, 'dB')
  const band = amountOf(items, 'Hz')
  if (!item) return 'how far the response may go, like +0.5/-1 dB, or -3 dB; a band alone says nothing'
  const { amount } = item
  const isEdge = amount.shape === 'one' && amount.side === null && amount.value < 0
  if (!isEdge) return usual('response deviation', items)
  const bandDb = -amount.value
  if (band?.amount.shape !== 'range') return `where it is ${bandDb} dB down, like 20 Hz to 20 kHz`
  return edges(['response low', 'response high'], band, {
    used: [item, band], under: { bandDb }, isRelative: false,
    assumed: [`-${bandDb} dB is taken as where the response ends, or lies farther out`],
  })
}

function edges(
  [low, high]: readonly [FigureQuantity, FigureQuantity], { amount }: AmountItem, more: Omit<Head, 'claimed'>,
): Told {
  if (amount.shape !== 'range') return 'a band, like 30 Hz to 15 kHz'
  return { ...more, claimed: [{ quantity: low, most: amount.low }, { quantity: high, least: amount.high }] }
}

function powerBandwidth(items: Pieces): Told {
  const band = amountOf(items, 'Hz')
  if (!band) return 'a band, like 30 Hz to 15 kHz'
  return edges(['power bandwidth low', 'power bandwidth high'], band, {
    used: [band], under: {}, isRelative: false, assumed: [],
  })
}

const heads: Readonly<Record<Subject, (items: Pieces) => Told>> = {
  'output power': power, 'signal to noise': signalToNoise, 'hum and noise': noise, noise, hum,
  separation: items => usual('separation', items, down), crosstalk,
  intermodulation: items => usual('intermodulation', items),
  'damping factor': items => usual('damping factor', items),
  'input sensitivity': items => usual('input sensitivity', items), gain: items => usual('gain', items),
  'dc offset': dcOffset, 'equalisation error': items => usual('equalisation error', items),
  'power bandwidth': powerBandwidth, response,
  'power bandwidth low': items => usual('power bandwidth low', items),
  'power bandwidth high': items => usual('power bandwidth high', items),
  'response low': items => usual('response low', items),
  'response high': items => usual('response high', items),
  'overload recovery': items => usual('overload recovery', items),
  'channel balance': items => usual('channel balance', items),
}

/** Watts are power, per cent distortion, whichever comes first; decibels over a band are a response. */
function unnamed(items: Pieces): Told {
  const watts = amountOf(items, 'W')
  const share = amountOf(items, 'share')
  const name = items.find(one => one.kind === 'distortion')
  const from = Math.min(share?.at ?? Infinity, share && name ? name.at : Infinity)
  if (watts && watts.at < from) return power(items)
  if (share) return distortion(items)
  const item = amountOf(items, 'dB')
  const band = amountOf(items, 'Hz')
  if (item && band?.amount.shape === 'range') return response(items)
  if (item) return 'what the decibels are of: signal to noise, separation, gain, response …'
  if (band?.amount.shape === 'range') return 'how far the response may go in that band, like ± 1 dB'
  return 'what is claimed, like 40 W, 0.1 % THD or noise under 0.5 mV'
}
