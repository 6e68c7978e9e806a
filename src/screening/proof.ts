/** What a method found out about one part, before anybody grades it. Pure data. */
import type { Comparable } from '../sequences/criteria.ts'
import type { Criterion } from '../schema/run.ts'
import type { Limit } from './to-prove.ts'

/** One comparison to be made. */
export interface Finding {
  readonly name: Criterion['name']
  readonly measured: Comparable
  readonly unit: string
  readonly limit: Limit
  /** Frequency, level, current, wires: what the value depends on, in words. */
  readonly conditions: string
  /** The limit of the source decided: the part's own is this or more. */
  readonly atLeast?: boolean
}

/** A part that is not what it should be, or that cannot be judged. */
export type Fault =
  | { readonly is: 'open' | 'short' | 'poor contact' | 'other kind'; readonly says: string }
  /** It works, and lies in the jig the other way round than its mark says. */
  | { readonly is: 'reversed'; readonly says: string }
  /** `asks`: what a person can say, so that it can be told after all. */
  | { readonly is: 'cannot tell'; readonly says: string; readonly asks?: string }

export interface Proof {
  readonly findings: readonly Finding[]
  readonly fault: Fault | null
  /** Figures worth keeping, SI units, by name with the unit last. */
  readonly figures: Readonly<Record<string, number>>
  readonly notes: readonly string[]
}

export const faulty = (is: Fault['is'], says: string, figures: Record<string, number> = {}): Proof => ({
  findings: [],
  fault: { is, says },
  figures,
  notes: [],
})

export const found = (
  findings: readonly Finding[],
  figures: Record<string, number> = {},
  notes: readonly string[] = [],
): Proof => ({ findings, fault: null, figures, notes })
