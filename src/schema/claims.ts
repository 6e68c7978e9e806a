/** What a unit is claimed to do, and how that ended. */
import { z } from 'zod'
import { conditions, figureQuantities, type Conditions, type Figure, type FigureQuantity } from './figure.ts'

/** These go either way from 0: of them `most` alone is so far to either side. */
export const signedQuantities: readonly FigureQuantity[] = [
  'response deviation', 'dc offset', 'equalisation error', 'channel balance',
]

const inPairs = ({ bandLowHz: low, bandHighHz: high }: Conditions): boolean =>
  low === undefined ? high === undefined : high !== undefined && low < high
const tonesInPairs = ({ toneLowHz: low, toneHighHz: high }: Conditions): boolean =>
  inPairs({ bandLowHz: low, bandHighHz: high })

/** In SI units and shares: 2 % is 0.02. At least one of `least` and `most`. */
export const claim = z.strictObject({
  quantity: z.enum(figureQuantities),
  least: z.number().optional(),
  most: z.number().optional(),
  conditions: conditions.prefault({}),
  /** Channel of the unit profile; every channel where it is left out. */
  channel: z.string().optional(),
}).refine(({ least, most }) => least !== undefined || most !== undefined, 'least, most or both')
  .refine(({ least = -Infinity, most = Infinity }) => least < most,
    { path: ['least'], message: 'less than most' })
  .refine(({ quantity, least, most }) => !signedQuantities.includes(quantity)
    || most !== undefined && (least !== undefined || most > 0),
  'most, above 0: so far it may go either way; or least and most')
  .refine(({ conditions: under }) => inPairs(under),
    { path: ['conditions', 'bandLowHz'], message: 'a band from low to high, or none' })
  .refine(({ conditions: under }) => tonesInPairs(under),
    { path: ['conditions', 'toneLowHz'], message: 'two tones, the low one below the high one, or none' })
  .transform(one => {
    const { quantity, least, most } = one
    const isEven = signedQuantities.includes(quantity) && least === undefined && most !== undefined
    return isEven ? { ...one, least: -most } : one
  })
export type Claim = z.infer<typeof claim>

/** A claim as it stands in a profile: in words of the grammar in docs/units.md, or taken apart. */
export const claimEntry = z.union([z.string().min(3).max(600), claim])

export const claimEnds = ['met', 'not met', 'cannot be told'] as const
export type ClaimEnd = (typeof claimEnds)[number]

export interface ClaimVerdict {
  /** As printed in the profile. */
  readonly words: string
  readonly claim: Claim
  readonly end: ClaimEnd
  /** To the nearest bound, in the unit of the quantity; below 0 where it is past it; NaN if unknown. */
  readonly margin: number
  /** Probability that the true figure is within the bounds; NaN where nothing was measured. */
  readonly pConform: number
  /** The worst of them decides. */
  readonly figures: readonly Figure[]
  /** One sentence. */
  readonly reason: string
}
