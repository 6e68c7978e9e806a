/** Long and short forms of SCPI keywords. */
import { assert } from '../base/assert.ts'

/**
 * The short form: four letters; three when the fourth is a vowel; words of up to four letters stay whole.
 * The vowel rule is from memory; the examples in tests/checks are standard words.
 */
export function shortForm(keyword: string): string {
  assert(/^[A-Za-z]{1,12}$/.test(keyword), 'a keyword is one to twelve letters')
  const upper = keyword.toUpperCase()
  if (upper.length <= 4) return upper
  return upper.slice(0, 'AEIOU'.includes(upper[3]!) ? 3 : 4)
}
