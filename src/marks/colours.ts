/** What colours of bands and dots stand for; read second-hand, see tests/checks/marks.test.ts. */

export interface ColourTolerance { readonly percent: number; readonly why: string }
export interface Colour {
  readonly digit: number | null
  /** Power of ten that the band multiplies by. */
  readonly power: number
  readonly tolerances: readonly ColourTolerance[]
  readonly tempcoPpmPerK: number | null
}

const table = 'colours of IEC 60062 (read second-hand)'
const colour = (
  digit: number | null, power: number, percent: number | null, tempcoPpmPerK: number | null, why = table,
): Colour => ({ digit, power, tolerances: percent === null ? [] : [{ percent, why }], tempcoPpmPerK })

const since2016 = 'since the edition of 2016; older parts have no such band (read second-hand)'
const colours: Readonly<Record<string, Colour>> = {
  black: colour(0, 0, null, 250), brown: colour(1, 1, 1, 100), red: colour(2, 2, 2, 50),
  orange: colour(3, 3, 0.05, 15, since2016), yellow: colour(4, 4, 0.02, 25, since2016),
  green: colour(5, 5, 0.5, 20), blue: colour(6, 6, 0.25, 10), violet: colour(7, 7, 0.1, 5),
  grey: {
    ...colour(8, 8, null, 1), tolerances: [
      { percent: 0.01, why: 'grey since the edition of 2016, and on a card of a maker (read)' },
      { percent: 0.05, why: 'grey in older editions (read second-hand)' },
    ],
  },
  white: colour(9, 9, null, null), gold: colour(null, -1, 5, null), silver: colour(null, -2, 10, null),
  pink: colour(null, -3, null, null, since2016),
}

const otherNames: Readonly<Record<string, string>> = { gray: 'grey', purple: 'violet', none: '' }

export const colourNames = Object.keys(colours)

/** The plain name of a colour, undefined for a word that is none. */
export function colourName(word: string): string | undefined {
  const plain = word.trim().toLowerCase()
  const name = Object.hasOwn(otherNames, plain) ? otherNames[plain]! : plain
  return Object.hasOwn(colours, name) ? name : undefined
}

/** `name` as `colourName` gives it. */
export function colourOf(name: string): Colour { return colours[name]! }

/** Volts of banded film parts and of tantalum beads (read). */
export const filmBandV: Readonly<Record<string, number>> = { brown: 100, red: 250, yellow: 400 }
export const filmBandPercent: Readonly<Record<string, number>> = { black: 20, white: 10, green: 5 }
export const tantalumV: Readonly<Record<string, number>> = {
  black: 10, yellow: 6.3, green: 16, blue: 20, grey: 25, white: 3, pink: 35,
}
/** Power of ten of the dot on a tantalum bead, in microfarads (read). */
export const tantalumPower: Readonly<Record<string, number>> = {
  black: 0, brown: 1, red: 2, grey: -2, white: -1,
}
