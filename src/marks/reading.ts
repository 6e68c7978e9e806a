/** What the rules for values hand on: one way in which the text at a place can be a value. */
import type { Alternative, Sort } from './mark.ts'

/** Whether the mark is on a part or in a person's list: codes are printed, hardly ever written. */
export type Origin = 'part' | 'list'

export interface ValueReading {
  readonly sort: Sort
  readonly value: number
  /** Where the text goes on. */
  readonly end: number
  /** A number without unit, or a code that may as well be one: never enough by itself. */
  readonly isDoubtful?: boolean
  /** Usual on such a part, and counted only where the sort of part is said. */
  readonly needsSort?: boolean
  /** Of figures in a code: an EIA voltage code may follow. */
  readonly isCode?: boolean
  /** A tolerance letter that stood with the value. */
  readonly letter?: string | undefined
  readonly voltageCode?: string | undefined
  readonly notes?: readonly string[]
  readonly alternatives?: readonly Alternative[]
  readonly source: string
}

export type ValueRule = (text: string, at: number, origin: Origin) => ValueReading[]

/** The groups of a sticky pattern at a place, and where it ended; null where it does not fit. */
export function matchAt(
  pattern: RegExp, text: string, at: number,
): { groups: (string | undefined)[]; end: number } | null {
  pattern.lastIndex = at
  const match = pattern.exec(text)
  return match && { groups: match.slice(1), end: at + match[0].length }
}

/** Whether nothing that belongs to the same word follows. */
export function endsWord(text: string, at: number): boolean {
  return !/[A-Za-z0-9µΩ%°]/.test(text.charAt(at))
}
