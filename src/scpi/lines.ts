/**
 * What a received line is once the habits of the link are taken off it: line ends,
 * prompts, remarks nobody asked for.
 */

export interface LineHabits {
  /** Texts that say "ready" and are no answer; alone on a line or in front of one. */
  readonly prompts: readonly string[]
  /** Lines that match are sent unasked and are no answer. */
  readonly ignore: readonly RegExp[]
}

/** Takes white space, control characters and NUL off both ends. */
export function stripEnds(text: string): string {
  let start = 0
  let end = text.length
  while (start < end && text.charCodeAt(start) <= 32) start++
  while (end > start && text.charCodeAt(end - 1) <= 32) end--
  return start === 0 && end === text.length ? text : text.slice(start, end)
}

/** The line without its habits; `''` when nothing is left that could be an answer. */
export function cleanLine(raw: string, habits: LineHabits): string {
  let text = stripEnds(raw)
  if (habits.prompts.length > 0) text = withoutPrompts(text, habits.prompts)
  for (const pattern of habits.ignore) if (pattern.test(text)) return ''
  return text
}

function withoutPrompts(text: string, prompts: readonly string[]): string {
  for (let again = true; again;) {
    again = false
    for (const prompt of prompts) {
      const bare = prompt.trim()
      if (bare === '' || !text.startsWith(bare)) continue
      text = stripEnds(text.slice(bare.length))
      again = true
    }
  }
  return text
}
