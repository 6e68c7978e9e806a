/** A mark as far as it was read, and how it becomes a whole one. */
import {
  noRatings, quantityOf, unitOf, type Alternative, type ClassTwo, type Dielectric, type Mark, type Ratings,
} from './mark.ts'
import type { ValueReading } from './reading.ts'
import { codeV, letterMeanings, shares, type Tolerance } from './tables.ts'

export interface Draft {
  readonly reading: ValueReading | null
  readonly letter?: string
  readonly tolerance?: Tolerance
  readonly ratedV?: number
  readonly ratedForm?: 'ac' | 'dc' | null
  readonly ratedW?: number
  readonly tempcoPpmPerK?: number
  readonly dielectric?: Dielectric
  readonly safetyClasses: readonly string[]
  readonly classTwo?: ClassTwo
  readonly notes: readonly string[]
  readonly sources: readonly string[]
}

export const emptyDraft: Draft = { reading: null, safetyClasses: [], notes: [], sources: [] }

/** The mark that a draft with a value says; null where its tolerance letter is none on such a part. */
export function finished(draft: Draft & { reading: ValueReading }): Mark | null {
  const { reading } = draft
  const { sort, value } = reading
  const letter = reading.letter ?? draft.letter
  const meanings = letter === undefined ? [] : letterMeanings(sort, letter, value)
  if (letter !== undefined && meanings.length === 0) return null
  const only = meanings.length === 1 ? meanings[0] : undefined
  const tolerance = draft.tolerance ?? only?.tolerance
  const conflicts: Alternative[] = meanings.length < 2 ? []
    : meanings.map(({ tolerance: other, why }) => ({ why, change: shares(other, value) }))
  const sources = [reading.source, ...draft.sources, ...only ? [`tolerance: ${only.why}`] : []]
  return {
    ...noRatings, ...ratingsOf(draft), ...tolerance ? shares(tolerance, value) : {},
    sort, quantity: quantityOf[sort], value, unit: unitOf[sort],
    alternatives: [...reading.alternatives ?? [], ...conflicts],
    notes: [...reading.notes ?? [], ...draft.notes], source: [...new Set(sources)].join('; '),
  }
}

function ratingsOf(draft: Draft): Partial<Ratings> {
  const { ratedForm = null, ratedW, tempcoPpmPerK, dielectric, safetyClasses, classTwo } = draft
  const ratedV = draft.ratedV ?? (draft.reading?.voltageCode && codeV(draft.reading.voltageCode))
  return {
    ratedV: ratedV || null, ratedForm, ratedW: ratedW ?? null, tempcoPpmPerK: tempcoPpmPerK ?? null,
    dielectric: dielectric ?? (classTwo ? 'ceramic-2' : null), safetyClasses, classTwo: classTwo ?? null,
  }
}
