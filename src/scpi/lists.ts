/** Answers with several parts, and channel lists. Pure. */
import { assert } from '../base/assert.ts'
import { BenchError } from '../base/errors.ts'

/** The items of one response, split at commas outside quotes and parentheses; each trimmed. */
export const splitFields = (text: string): string[] => splitOutside(text, ',')

/**
 * The responses to a compound query, split at `;` outside quotes. Answers are never paired by position:
 * throws ANSWER_FORM unless there are exactly `count`.
 */
export function splitResponses(text: string, count: number): string[] {
  const parts = splitOutside(text, ';')
  if (parts.length === count) return parts
  throw new BenchError('ANSWER_FORM', 'the number of answers is not the number of questions', {
    expected: String(count), got: String(parts.length),
  })
}

function splitOutside(text: string, separator: string): string[] {
  const parts: string[] = []
  let mark = ''
  let depth = 0
  let start = 0
  for (let i = 0; i < text.length; i++) {
    const c = text[i]!
    if (mark !== '') { if (c === mark) mark = '' }
    else if (c === '"' || c === "'") mark = c
    else if (c === '(') depth++
    else if (c === ')') depth--
    else if (c === separator && depth === 0) { parts.push(text.slice(start, i).trim()); start = i + 1 }
  }
  parts.push(text.slice(start).trim())
  return parts
}

/** `[101, 103, 104, 105]` → `(@101,103:105)`. Runs of three or more become a range; order is kept. */
export function formatChannelList(channels: readonly number[]): string {
  assert(channels.length > 0 && channels.every(c => Number.isInteger(c) && c >= 0),
    'channels are whole numbers')
  const parts: string[] = []
  for (let i = 0; i < channels.length;) {
    let last = i
    while (last + 1 < channels.length && channels[last + 1] === channels[last]! + 1) last++
    const run = last - i + 1
    if (run >= 3) parts.push(`${channels[i]}:${channels[last]}`)
    else parts.push(...channels.slice(i, last + 1).map(String))
    i = last + 1
  }
  return `(@${parts.join(',')})`
}

/** Most channels a range in an answer may stand for. */
const channelsMax = 10_000

/** `(@101,103:105)` → `[101, 103, 104, 105]`; `(@)` is empty. Throws ANSWER_FORM. */
export function parseChannelList(text: string): number[] {
  const inside = /^\(\s*@\s*([\d\s,:]*)\)$/.exec(text.trim())?.[1]?.trim()
  if (inside === undefined) throw listError(text)
  const channels: number[] = []
  for (const part of inside === '' ? [] : inside.split(',')) {
    const range = /^\s*(\d{1,6})\s*(?::\s*(\d{1,6}))?\s*$/.exec(part)
    if (range === null) throw listError(text)
    const [first, last] = [Number(range[1]), Number(range[2] ?? range[1])]
    if (last < first || last - first >= channelsMax) throw listError(text)
    for (let channel = first; channel <= last; channel++) channels.push(channel)
  }
  return channels
}

const listError = (text: string): BenchError =>
  new BenchError('ANSWER_FORM', 'no channel list', { expected: '(@101,103:105)', got: text.slice(0, 80) })
