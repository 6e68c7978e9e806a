/** Reference designators as lists carry them: `C1-C4, C7`, `R1 R2 R3`. */
import type { Found } from './problems.ts'

const rangeMax = 1000
/** No unit has more; a text that names more is made to fill memory. */
export const designatorsMax = 20_000
const one = /^([A-Z]{1,4})(\d{1,5})([A-Z]?)$/i

type Slip = Omit<Found, 'path'>
export interface Designators { readonly names: readonly string[]; readonly problems: readonly Slip[] }

/**
 * Every designator of a text, ranges expanded, in the order given, letters in capitals. All problems are
 * told;
 * a short range like `C1-4` is told too, as it may be the name of one part.
 */
export function expandDesignators(text: string): Designators {
  const names = new Set<string>()
  const problems: Slip[] = []
  const joined = text.replace(/\s*(?:–|—|\.\.+|\bto\b)\s*/gi, '-').replace(/\s+-\s+/g, '-')
  for (const word of joined.split(/[\s,;/+]+/).filter(Boolean)) {
    const found = expandWord(word)
    if (typeof found === 'string') { problems.push({ expected: found, got: shown(word) }); continue }
    const again = found.find(name => names.has(name))
    if (again !== undefined) problems.push({ expected: 'each designator once', got: `"${again}" again` })
    for (const name of found) names.add(name)
    if (names.size > designatorsMax) {
      problems.push({ expected: `at most ${designatorsMax} designators`, got: 'more' })
      return { names: [], problems }
    }
  }
  return { names: [...names], problems }
}

/** The designators of one word, or what belongs there instead. */
function expandWord(word: string): string[] | string {
  const single = one.exec(word)
  if (single) return [word.toUpperCase()]
  const [first, last, ...more] = word.split('-')
  if (first === undefined || last === undefined || more.length > 0) return 'designators like R1 or C1-C4'
  if (one.test(first) && /^\d{1,5}$/.test(last)) {
    return `a range with both ends, like ${first.toUpperCase()}-${letterOf(first)}${last}`
  }
  const [from, to] = [one.exec(first), one.exec(last)]
  if (!from || !to) return 'designators like R1 or C1-C4'
  const letter = from[1]!.toUpperCase()
  if (letter !== to[1]!.toUpperCase()) return 'a range of one letter'
  const isOfSections = from[3] !== '' || to[3] !== ''
  return isOfSections ? sections(from, to) : numbered(letter, Number(from[2]), Number(to[2]))
}

function numbered(letter: string, from: number, to: number): string[] | string {
  if (to <= from) return 'a range that goes up'
  if (to - from >= rangeMax) return `a range of at most ${rangeMax}`
  return Array.from({ length: to - from + 1 }, (_, i) => `${letter}${from + i}`)
}

/** Sections of one can: `C5A-C5C`. */
function sections(
  [, letter, number, a]: RegExpExecArray, [, , other, b]: RegExpExecArray,
): string[] | string {
  const [from, to] = [a!.toUpperCase().charCodeAt(0), b!.toUpperCase().charCodeAt(0)]
  if (a === '' || b === '' || number !== other || to <= from) return 'a range of sections like C5A-C5C'
  return Array.from({ length: to - from + 1 },
    (_, i) => `${letter!.toUpperCase()}${number}${String.fromCharCode(from + i)}`)
}

/** `CR` of `CR12`. */
export function letterOf(designator: string): string {
  return /^[A-Z]*/i.exec(designator)![0].toUpperCase()
}

const shown = (word: string): string => JSON.stringify(word.length > 40 ? `${word.slice(0, 39)}…` : word)
