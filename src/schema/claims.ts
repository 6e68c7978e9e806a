/** What a unit is claimed to do, and how that ended. */
import { z } from 'zod'
import { conditions, figureQuantities, type Figure } from './figure.ts'

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
export type Claim = z.infer<typeof claim>

/** A claim as it stands in a profile: in words of the grammar in docs/units.md, or taken apart. */
export const claimEntry = z.union([z.string().min(3).max(300), claim])

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
