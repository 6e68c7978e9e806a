/** Goes through the words of a claim from left to right: what was understood, and what was not. */
import { plainSigns } from '../marks/decode.ts'
import { matchAt } from '../marks/reading.ts'
import type { Item, Unread } from './items.ts'
import { ambiguous } from './refusals.ts'
import { rules } from './rules.ts'

/** Says nothing that changes a claim. */
const filler = new RegExp(String.raw`(?:[\s,;:.()/]+|(?:and|with|the|an?|of|is|are|it|its|on|in|into|for`
  + '|from|over|by|outputs?|resistive|(?:each|every|per) channel)(?![A-Za-z]))', 'iy')
const word = /[^\s,;()]+/y

export interface Scanned { readonly items: readonly Item[]; readonly unread: readonly Unread[] }

export function scan(given: string): Scanned {
  const text = plainSigns(given)
  const items: Item[] = []
  const unread: Unread[] = []
  for (let at = 0; at < text.length;) {
    const refused = beginsWord(text, at) ? refusedAt(text, at) : null
    const found = refused ?? (beginsWord(text, at) ? foundAt(text, at, items) : null)
    if (found === null) {
      const passed = matchAt(filler, text, at)?.end
      const end = passed ?? matchAt(word, text, at)?.end ?? at + 1
      if (passed === undefined) unread.push({ at, end, expected: 'words of a claim' })
      at = end
    } else {
      if ('expected' in found) unread.push(found)
      else items.push(found)
      at = found.end
    }
  }
  return { items, unread: joined(unread, text) }
}

/** No letter of the same word stands before. */
const beginsWord = (text: string, at: number): boolean =>
  !(/[A-Za-z]/.test(text.charAt(at)) && /[A-Za-z]/.test(text.charAt(at - 1)))

function refusedAt(text: string, at: number): Unread | null {
  for (const { pattern, expected } of ambiguous) {
    const match = matchAt(pattern, text, at)
    if (match && beginsWord(text, match.end)) return { at, end: match.end, expected }
  }
  return null
}

function foundAt(text: string, at: number, before: readonly Item[]): Item | Unread | null {
  for (const rule of rules) {
    const found = rule(text, at, before)
    if (found) return 'said' in found ? { ...found.said, at, end: found.end } : found
  }
  return null
}

/** Words that stand side by side and are not understood are told as one. */
function joined(unread: readonly Unread[], text: string): Unread[] {
  return unread.reduce<Unread[]>((told, one) => {
    const last = told.at(-1)
    const isNext = last?.expected === one.expected && text.slice(last.end, one.at).trim() === ''
    return last && isNext ? [...told.slice(0, -1), { ...last, end: one.end }] : [...told, one]
  }, [])
}
