/**
 * Whether a figure answers a claim by what it was measured under. Tolerances are ours: a bench has no load of
 * exactly 8 Ω. A condition that is harder than claimed can only show that a claim is met.
 */
import type { Claim } from '../schema/claims.ts'
import type { Conditions, Figure } from '../schema/figure.ts'
import { written } from './figures.ts'
import { kinds } from './kinds.ts'
import { conditionWord } from './words.ts'

export type Answer =
  | { readonly fit: 'same' | 'harder'; readonly why: string }
  /** In words: what was measured, and what is claimed. */
  | { readonly fit: 'none'; readonly why: string }

type Fit = 'same' | 'harder' | 'other'
type Compare = (claimed: never, measured: never) => Fit

const isNear = (claimed: number, measured: number, share: number): boolean =>
  Math.abs(measured / claimed - 1) <= share
const near = (share: number) => (claimed: number, measured: number): Fit =>
  isNear(claimed, measured, share) ? 'same' : 'other'
const equal = (claimed: unknown, measured: unknown): Fit => claimed === measured ? 'same' : 'other'
const text = (claimed: string, measured: string): Fit =>
  claimed.trim().toLowerCase() === measured.trim().toLowerCase() ? 'same' : 'other'

const frequencyShare = 0.05
const decibelRoom = 0.1
const ambientRoomC = 5

/** Bands are compared by themselves. */
type Compared = Exclude<keyof Conditions, 'bandLowHz' | 'bandHighHz'>
const compares: Readonly<Record<Compared, Compare>> = {
  loadOhm: near(0.05), outputW: near(0.06), outputV: near(0.03), mainsV: near(0.02),
  frequencyHz: near(frequencyShare), toneLowHz: near(frequencyShare),
  toneHighHz: near(frequencyShare),
  // An input that is shorted hears least: through a resistance it hears more.
  sourceOhm: (claimed: number, measured: number) =>
    claimed === 0 ? (measured < 1 ? 'same' : 'other') : near(0.1)(claimed, measured),
  distortion: (claimed: number, measured: number) =>
    isNear(claimed, measured, 0.01) ? 'same' : measured < claimed ? 'harder' : 'other',
  distortionOf: (claimed: string, measured: string) =>
    claimed === measured ? 'same' : measured === 'thd+n' ? 'harder' : 'other',
  orders: (claimed: number, measured: number) =>
    claimed === measured ? 'same' : measured > claimed ? 'harder' : 'other',
  driven: (claimed: string, measured: string) =>
    claimed === measured ? 'same' : measured === 'all' ? 'harder' : 'other',
  overloadDb: (claimed: number, measured: number) =>
    Math.abs(measured - claimed) <= decibelRoom ? 'same' : measured > claimed ? 'harder' : 'other',
  bandDb: (claimed: number, measured: number) =>
    Math.abs(measured - claimed) <= decibelRoom ? 'same' : 'other',
  ambientC: (claimed: number, measured: number) =>
    Math.abs(measured - claimed) <= ambientRoomC ? 'same' : 'other',
  weighting: equal, detector: equal, form: equal, curve: equal, arithmetic: text, reference: text,
}

/** Whether this figure, of the quantity that is claimed, was measured under what the claim says. */
export function answerOf({ quantity, conditions: claimed }: Claim, { conditions: measured }: Figure): Answer {
  const reasons: Record<Fit, string[]> = { same: [], harder: [], other: [] }
  const { fit: bandFit, why: bandWhy } = ofBand(quantity, claimed, measured)
  reasons[bandFit].push(bandWhy)
  for (const name of Object.keys(claimed)) {
    const key = name as keyof Conditions
    if (key === 'bandLowHz' || key === 'bandHighHz' || claimed[key] === undefined) continue
    if (key === 'frequencyHz' && isOverBand(measured)) continue
    const wanted = conditionWord(quantity, claimed, key)
    if (measured[key] === undefined) {
      reasons.other.push(`the claim is ${wanted}, and the figure does not say`)
      continue
    }
    const fit = compares[key](claimed[key] as never, measured[key] as never)
    reasons[fit].push(`measured ${conditionWord(quantity, measured, key)}, claimed ${wanted}`)
  }
  if (reasons.other.length > 0) return { fit: 'none', why: reasons.other.join('; ') }
  const isHarder = reasons.harder.length > 0
  return { fit: isHarder ? 'harder' : 'same', why: isHarder ? reasons.harder.join('; ') : '' }
}

/** A figure for all frequencies of a band. */
const isOverBand = ({ frequencyHz, bandLowHz }: Conditions): boolean =>
  frequencyHz === undefined && bandLowHz !== undefined

interface BandFit { readonly fit: Fit; readonly why: string }
const fits: BandFit = { fit: 'same', why: '' }

function ofBand(quantity: Claim['quantity'], claimed: Conditions, measured: Conditions): BandFit {
  const { frequency } = kinds[quantity]
  const { bandLowHz: low, bandHighHz: high } = claimed
  const told = (fit: Fit, wanted: Conditions = claimed): BandFit => ({
    fit, why: `measured ${placeWords(quantity, measured)}, claimed ${placeWords(quantity, wanted)}`,
  })
  if (low === undefined || high === undefined) {
    const { frequencyHz } = claimed
    if (frequencyHz === undefined || !isOverBand(measured)) return fits
    return told(covers(measured, frequencyHz, frequencyHz) === 'other' ? 'other' : 'harder')
  }
  const isRange = frequency !== 'measured' && claimed.frequencyHz === undefined
  if (isRange && measured.frequencyHz !== undefined) {
    const { frequencyHz } = measured
    const isInside = frequencyHz >= low * (1 - frequencyShare) && frequencyHz <= high * (1 + frequencyShare)
    return isInside ? fits : told('other')
  }
  return measured.bandLowHz === undefined ? { fit: 'other', why: 'the figure does not say in which band' }
    : told(covers(measured, low, high))
}

function placeWords(quantity: Claim['quantity'], { frequencyHz, bandLowHz, bandHighHz }: Conditions): string {
  const place: Conditions = { frequencyHz, bandLowHz, bandHighHz }
  const keys = (['frequencyHz', 'bandLowHz'] as const).filter(key => place[key] !== undefined)
  return keys.map(key => conditionWord(quantity, place, key)).join(', ')
}

/** A band that reaches farther out takes in more, and deviates more. */
function covers({ bandLowHz = Infinity, bandHighHz = 0 }: Conditions, low: number, high: number): Fit {
  if (isNear(low, bandLowHz, frequencyShare) && isNear(high, bandHighHz, frequencyShare)) return 'same'
  const isInside = bandLowHz <= low * (1 + frequencyShare) && bandHighHz >= high * (1 - frequencyShare)
  return isInside ? 'harder' : 'other'
}

const hertz = (hz: number): string => written(Number(hz.toPrecision(4)), 'Hz')

/** Both ends of a band and a place between, like 20 Hz, 1 kHz and 20 kHz, are enough (common practice). */
const gapMost = 50 * (1 + 2 * frequencyShare)

/** What is missing for figures at single frequencies to speak for a band; null where nothing is. */
export function gapIn(
  { bandLowHz, bandHighHz, frequencyHz }: Conditions, figures: readonly Figure[],
): string | null {
  if (bandLowHz === undefined || bandHighHz === undefined || frequencyHz !== undefined) return null
  if (figures.some(({ conditions }) => conditions.frequencyHz === undefined)) return null
  const places = figures.map(({ conditions }) => conditions.frequencyHz!).sort((a, b) => a - b)
  const [first, last] = [places[0]!, places.at(-1)!]
  if (first > bandLowHz * (1 + frequencyShare)) return `nothing was measured at ${hertz(bandLowHz)}`
  if (last < bandHighHz * (1 - frequencyShare)) return `nothing was measured at ${hertz(bandHighHz)}`
  const at = places.findIndex((hz, i) => i > 0 && hz / places[i - 1]! > gapMost)
  return at < 0 ? null : `nothing was measured between ${hertz(places[at - 1]!)} and ${hertz(places[at]!)}`
}
