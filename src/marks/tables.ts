/**
 * Letters and codes of the trade, as tables. "Read" means seen in print second-hand; no standard's own text
 * was read. Tests hold the tables against what was read (tests/checks/marks.test.ts).
 */
import type { ClassTwo, Dielectric, Sort } from './mark.ts'

/** A tolerance as printed: shares of the value, or farads either way. */
export interface Tolerance { readonly minus: number; readonly plus: number; readonly isFarads?: boolean }
export interface LetterMeaning { readonly tolerance: Tolerance; readonly why: string }

const even = (percent: number): Tolerance => ({ minus: percent / 100, plus: percent / 100 })
const skew = (minus: number, plus: number): Tolerance => ({ minus: minus / 100, plus: plus / 100 })
const picofarads = (pf: number): Tolerance => {
  const farads = Number(`${pf}e-12`)
  return { minus: farads, plus: farads, isFarads: true }
}

const letters: Readonly<Record<string, Tolerance>> = {
  B: even(0.1), C: even(0.25), D: even(0.5), F: even(1), G: even(2), H: even(3), J: even(5), K: even(10),
  M: even(20), N: even(30),
}
const fineLetters: Readonly<Record<string, Tolerance>> = {
  E: even(0.005), L: even(0.01), P: even(0.02), W: even(0.05),
}
const capacitorLetters: Readonly<Record<string, Tolerance>> = {
  Q: skew(10, 30), T: skew(10, 50), S: skew(20, 50), Z: skew(20, 80),
}
const smallCapacitorLetters: Readonly<Record<string, Tolerance>> = {
  B: picofarads(0.1), C: picofarads(0.25), D: picofarads(0.5), F: picofarads(1), G: picofarads(2),
}
/** Capacitances below this carry some tolerances in picofarads. */
const smallBelowF = 10e-12

/** What a tolerance letter may mean on such a part of `value` (SI); more than one where sources disagree. */
export function letterMeanings(sort: Sort, letter: string, value: number): LetterMeaning[] {
  const small = sort === 'capacitor' && value < smallBelowF ? smallCapacitorLetters[letter] : undefined
  if (small) return [{ tolerance: small, why: 'in picofarads below 10 pF (from memory)' }]
  if (sort === 'capacitor' && letter === 'P') {
    return [
      { tolerance: skew(0, 100), why: 'P is -0/+100 % on capacitors (read)' },
      { tolerance: even(0.02), why: 'P is ±0.02 % among the letters of IEC 60062 (from memory)' },
    ]
  }
  if (sort === 'resistor' && letter === 'H') {
    return [
      { tolerance: even(3), why: 'H is ±3 % among the letters of IEC 60062 (from memory)' },
      { tolerance: even(0.02), why: 'H is ±0.02 % on a card of one maker of resistors (read)' },
    ]
  }
  const tolerance = letters[letter] ?? fineLetters[letter]
    ?? (sort === 'capacitor' ? capacitorLetters[letter] : undefined)
  return tolerance ? [{ tolerance, why: 'letters of IEC 60062 (from memory, most also read)' }] : []
}

/** Shares of the value; the division is rounded so that ±0.5 pF of 5 pF is 0.1 and not beside it. */
export function shares(
  tolerance: Tolerance, value: number,
): { toleranceMinus: number; tolerancePlus: number } {
  if (!tolerance.isFarads) return { toleranceMinus: tolerance.minus, tolerancePlus: tolerance.plus }
  const share = (farads: number): number => Number((farads / value).toPrecision(12))
  return { toleranceMinus: share(tolerance.minus), tolerancePlus: share(tolerance.plus) }
}

export function toleranceLetters(sort: Sort): string[] {
  const more = sort === 'capacitor' ? Object.keys(capacitorLetters) : []
  return [...Object.keys(letters), ...Object.keys(fineLetters), ...more].sort()
}

/** Volts by EIA code (read on two pages that agree where they overlap). */
const voltageCodes: Readonly<Record<string, number>> = {
  '0G': 4, '0L': 5.5, '0J': 6.3, '1A': 10, '1C': 16, '1D': 20, '1E': 25, '1V': 35, '1H': 50, '1J': 63,
  '1K': 80, '2A': 100, '2Q': 110, '2B': 125, '2C': 160, '2Z': 180, '2D': 200, '2P': 220, '2E': 250, '2F': 315,
  '2V': 350, '2G': 400, '2W': 450, '2H': 500, '2J': 630, '3A': 1000,
}
export function codeV(code: string): number | undefined {
  return Object.hasOwn(voltageCodes, code) ? voltageCodes[code] : undefined
}

const coldC: Readonly<Record<string, number>> = { X: -55, Y: -30, Z: 10 }
/** 8 is from memory, the others were read. */
const hotC: Readonly<Record<string, number>> = { 2: 45, 4: 65, 5: 85, 6: 105, 7: 125, 8: 150 }
const change: Readonly<Record<string, readonly [number, number]>> = {
  A: [1, 1], B: [1.5, 1.5], C: [2.2, 2.2], D: [3.3, 3.3], E: [4.7, 4.7], F: [7.5, 7.5], P: [10, 10],
  R: [15, 15], S: [22, 22], T: [33, 22], U: [56, 22], V: [82, 22],
}

/** What the three signs of a class 2 ceramic say, like X7R; undefined for anything else. */
export function classTwoOf(code: string): ClassTwo | undefined {
  const minC = coldC[code[0]!]
  const maxC = hotC[code[1]!]
  const strays = change[code[2]!]
  if (code.length !== 3 || minC === undefined || maxC === undefined || !strays) return undefined
  return { minC, maxC, changeMinus: strays[0] / 100, changePlus: strays[1] / 100 }
}

/** Words that say what a capacitor is made of (common practice); null for a word that decides nothing. */
const capacitorWords: Readonly<Record<string, Dielectric | null>> = {
  film: 'film', foil: 'film', polyester: 'film', polypropylene: 'film', polystyrene: 'film',
  polycarbonate: 'film', mkt: 'film', mkp: 'film', pet: 'film', pp: 'film', paper: 'paper', oil: 'paper',
  mica: 'mica', electrolytic: 'electrolytic', aluminium: 'electrolytic', aluminum: 'electrolytic',
  tantalum: 'tantalum', c0g: 'ceramic-1', cog: 'ceramic-1', np0: 'ceramic-1', npo: 'ceramic-1',
  ceramic: null, silver: null, silvered: null, metallised: null, metallized: null, bipolar: null,
}
const resistorWords: readonly string[] = [
  'carbon', 'metal', 'film', 'oxide', 'composition', 'wirewound', 'lin', 'linear', 'log', 'logarithmic',
]
const anyWords: readonly string[] = ['axial', 'radial']

/** The dielectric that a word says, null where the word is known and says none, undefined if unknown. */
export function wordMeaning(sort: Sort, word: string): Dielectric | null | undefined {
  if (anyWords.includes(word)) return null
  if (sort === 'capacitor' && Object.hasOwn(capacitorWords, word)) return capacitorWords[word]
  if (sort === 'resistor' && resistorWords.includes(word)) return null
  return undefined
}
