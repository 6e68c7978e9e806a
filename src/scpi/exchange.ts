/**
 * The life of one link as a pure step machine: (state, input) → (state, effects). It holds no timer and does
 * no I/O; a time-out is an input like any other, so it needs no clock either. One exchange at a time.
 *
 * `suspect` is the heart of it: after a time-out, a surplus line or a stop, the next line to arrive may
 * answer an earlier question. Answers are never paired by position, so nothing but recovery may send
 * until `in-step` is said.
 */
import type { Frame } from './framing.ts'

export interface Exchange {
  readonly command: string
  readonly expect: 'nothing' | 'line' | 'block'
  /** The link sends the command back first. */
  readonly echo: boolean
  /** Part of a resynchronisation: allowed while suspect, and leaves the link suspect. */
  readonly recovery: boolean
  /** Recovery only: lines for which it is false are late answers to something else and are passed over. */
  readonly accepts?: (line: string) => boolean
}

export type Answer = string | Uint8Array

export type LinkState =
  | { readonly at: 'down' }
  | { readonly at: 'idle' }
  | { readonly at: 'suspect' }
  | { readonly at: 'echo'; readonly exchange: Exchange }
  | { readonly at: 'answer'; readonly exchange: Exchange }
  /** The answer is here; the rest of the same chunk has still to be looked at. */
  | { readonly at: 'answered'; readonly exchange: Exchange; readonly answer: Answer }

export type LinkInput =
  | { readonly type: 'up' }
  | { readonly type: 'start'; readonly exchange: Exchange }
  /** Lines come clean (see lines.ts) and are never empty. */
  | { readonly type: 'frame'; readonly frame: Frame }
  | { readonly type: 'chunk-end' }
  | { readonly type: 'timeout' }
  | { readonly type: 'overflow' }
  | { readonly type: 'pre-empt' }
  | { readonly type: 'in-step' }
  | { readonly type: 'down' }

/** Why an exchange failed. */
export type Failure =
  | 'timeout' | 'surplus' | 'form' | 'overflow' | 'abandoned' | 'down' | 'out-of-step' | 'busy'

export type Effect =
  | { readonly do: 'send'; readonly exchange: Exchange }
  | { readonly do: 'resolve'; readonly answer: Answer }
  /** `got`: the text that was in the way, if any. */
  | { readonly do: 'fail'; readonly failure: Failure; readonly got?: string }
  /** A frame that nobody asked for. */
  | { readonly do: 'stray'; readonly text: string }
  | { readonly do: 'close' }

export interface Step { readonly state: LinkState; readonly effects: readonly Effect[] }

const none: readonly Effect[] = []
const down: LinkState = { at: 'down' }
const idle: LinkState = { at: 'idle' }
const suspect: LinkState = { at: 'suspect' }
export const linkDown: LinkState = down
export const chunkEnd: LinkInput = { type: 'chunk-end' }

/** One step. Total: every input is allowed in every state; what does not apply changes nothing. */
export function step(state: LinkState, input: LinkInput): Step {
  switch (input.type) {
    case 'frame': return onFrame(state, input.frame)
    case 'chunk-end': return onChunkEnd(state)
    case 'start': return onStart(state, input.exchange)
    case 'timeout': return endExchange(state, suspect, 'timeout')
    case 'pre-empt': return state.at === 'idle' ? to(suspect) : endExchange(state, suspect, 'abandoned')
    case 'down': return state.at === 'idle' || state.at === 'suspect'
      ? to(down)
      : endExchange(state, down, 'down')
    case 'overflow': return onOverflow(state)
    case 'up': return state.at === 'down' ? to(suspect) : to(state)
    case 'in-step': return state.at === 'suspect' ? to(idle) : to(state)
  }
}

const to = (state: LinkState, ...effects: Effect[]): Step =>
  ({ state, effects: effects.length === 0 ? none : effects })
const fail = (failure: Failure, got?: string): Effect =>
  got === undefined ? { do: 'fail', failure } : { do: 'fail', failure, got }
const rest = (exchange: Exchange): LinkState => exchange.recovery ? suspect : idle
const textOf = (frame: Frame): string =>
  frame.kind === 'line' ? frame.text : `a block of ${frame.bytes.length} bytes`

function onStart(state: LinkState, exchange: Exchange): Step {
  if (state.at === 'down') return to(state, fail('down'))
  if (state.at === 'suspect' && !exchange.recovery) return to(state, fail('out-of-step'))
  if (state.at !== 'idle' && state.at !== 'suspect') return to(state, fail('busy'))
  const send: Effect = { do: 'send', exchange }
  if (exchange.echo) return to({ at: 'echo', exchange }, send)
  if (exchange.expect === 'nothing') return to(rest(exchange), send, { do: 'resolve', answer: '' })
  return to({ at: 'answer', exchange }, send)
}

function onFrame(state: LinkState, frame: Frame): Step {
  switch (state.at) {
    case 'down': return to(state)
    case 'idle':
    case 'suspect': return to(suspect, { do: 'stray', text: textOf(frame) })
    case 'echo': return onEcho(state.exchange, frame)
    case 'answer': return onAnswer(state, frame)
    case 'answered': return onSurplus(state, frame)
  }
}

function onEcho(exchange: Exchange, frame: Frame): Step {
  if (frame.kind !== 'line' || frame.text !== exchange.command) {
    return to({ at: 'echo', exchange }, { do: 'stray', text: textOf(frame) })
  }
  if (exchange.expect === 'nothing') return to({ at: 'answered', exchange, answer: '' })
  return to({ at: 'answer', exchange })
}

function onAnswer(state: LinkState & { at: 'answer' }, frame: Frame): Step {
  const { exchange } = state
  // No answer repeats its question: this link echoes although nobody said so.
  if (frame.kind === 'line' && frame.text === exchange.command) return to(state)
  if (exchange.accepts && (frame.kind !== 'line' || !exchange.accepts(frame.text))) {
    return to(state, { do: 'stray', text: textOf(frame) })
  }
  if (frame.kind !== exchange.expect) return to(suspect, fail('form', textOf(frame)))
  if (frame.kind === 'line') return to({ at: 'answered', exchange, answer: frame.text })
  if (!isBlank(frame.tail) || !isHeader(frame.head)) {
    return to(suspect, fail('form', `${frame.head}#…${frame.tail}`))
  }
  return to({ at: 'answered', exchange, answer: frame.bytes })
}

/**
 * A second answer in one chunk: which of the two is ours cannot be known. Recovery knows its own by content.
 */
function onSurplus(state: LinkState & { at: 'answered' }, frame: Frame): Step {
  if (state.exchange.accepts) return to(state, { do: 'stray', text: textOf(frame) })
  return to(suspect, fail('surplus', `${String(state.answer)} and ${textOf(frame)}`))
}

function onChunkEnd(state: LinkState): Step {
  if (state.at !== 'answered') return to(state)
  return { state: rest(state.exchange), effects: [{ do: 'resolve', answer: state.answer }] }
}

function onOverflow(state: LinkState): Step {
  if (state.at === 'down') return to(state)
  if (state.at === 'idle' || state.at === 'suspect') return to(down, { do: 'close' })
  return to(down, fail('overflow'), { do: 'close' })
}

function endExchange(state: LinkState, next: LinkState, failure: Failure): Step {
  if (state.at === 'down' || state.at === 'idle' || state.at === 'suspect') return to(state)
  return to(next, fail(failure))
}

const isBlank = (text: string): boolean => /^[\s\0]*$/.test(text)
/** Blank, or the query's own header, which some instruments repeat in front of their data. */
const isHeader = (text: string): boolean => /^[\s\0]*(:?[A-Za-z*][A-Za-z0-9:]*\s+)?$/.test(text)
