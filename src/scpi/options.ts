/**
 * What a session must be told about the instrument at the other end, and what it takes when it is not told.
 */
import { assert } from '../base/assert.ts'
import type { Clock } from '../base/clock.ts'
import type { BenchError } from '../base/errors.ts'
import type { ErrorCheck, InstrumentError } from './error-queue.ts'

export interface SessionOptions {
  /** The instrument's name in the bench file; stands in every message. */
  readonly name: string
  /** Stamps what is reported; held while an exchange is in flight. */
  readonly clock: Clock
  /** Deadlines and gaps of the link. Default `clock`; the real one where time is led but links are real. */
  readonly linkClock?: Clock
  /** Time within which an exchange must end unless the call says otherwise, in ms. */
  readonly deadlineMs: number
  /** Longest answer, in bytes. */
  readonly frameBytesMax: number
  /** What ends a message to the instrument. Default LF. */
  readonly txTerminator?: string
  /** The byte that ends an answer; others around it are stripped. Default LF. */
  readonly rxTerminator?: '\n' | '\r'
  /** Quiet time between the end of one exchange and the next, in ms. Default 0. */
  readonly pacingMs?: number
  /** It sends back every line it receives. Default false. */
  readonly echo?: boolean
  readonly prompts?: readonly string[]
  /** Lines it sends unasked. */
  readonly ignoreLines?: readonly RegExp[]
  /** How it says that it refused something; null when it cannot. */
  readonly errorQueue: ErrorCheck | null
  /** Asked on every connect. Without `expected`, the first answer is what later ones must equal. */
  readonly identity?: { readonly query: string; readonly expected?: string | RegExp }
  /** How its interface is reset in a recovery. Default 'none'. */
  readonly clear?: 'none' | 'break' | 'ctrl-c' | 'device-clear'
  /**
   * The query with a known answer that proves the link in step. Default 'ese-nonce', with identity to fall
   * back on. 'identity' alone is weaker: a late answer to an earlier identity query looks the same.
   */
  readonly resync?: 'ese-nonce' | 'identity'
  /** Sent first on every connect, e.g. the change to remote control. */
  readonly onConnect?: readonly string[]
  /** Silence that counts as silence, in ms. Default 50. */
  readonly quietMs?: number
  /** Limit for opening the link, in ms. Default 5000. */
  readonly connectMs?: number
  /** Limit for the whole of safeOff(), in ms. Default 5000. */
  readonly safeOffMs?: number
  /** How many callers may wait for their turn. Default 64. */
  readonly waitingMax?: number
  /**
   * A command that waited longer than this, and than its own deadline, is not sent any more. Default 2000 ms.
   */
  readonly writeWaitMs?: number
  readonly onNotice?: (notice: SessionNotice) => void
}

/** What a session tells its owner unasked. */
export type SessionNotice =
  | { readonly what: 'up'; readonly identity: string | null }
  | { readonly what: 'down'; readonly error: BenchError | null }
  | { readonly what: 'stray'; readonly text: string }
  /** Back in step. `errors`: what its error queue held; set-points are not known any more. */
  | { readonly what: 'resynchronised'; readonly errors: readonly InstrumentError[] }

export type Settled = Required<Omit<SessionOptions, 'identity' | 'onNotice'>>
  & {
    readonly identity: SessionOptions['identity'] | null; readonly onNotice: (notice: SessionNotice) => void
  }

/** The options with every default filled in. Asserts what only a programmer can get wrong. */
export function settle(options: SessionOptions): Settled {
  assert(options.deadlineMs > 0, `${options.name}: a session needs a deadline`)
  assert(options.resync !== 'identity' || options.identity,
    `${options.name}: resync by identity needs an identity`)
  return {
    linkClock: options.clock, txTerminator: '\n', rxTerminator: '\n', pacingMs: 0, echo: false, prompts: [],
    ignoreLines: [], clear: 'none', resync: 'ese-nonce', onConnect: [], quietMs: 50, connectMs: 5000,
    safeOffMs: 5000, waitingMax: 64, writeWaitMs: 2000, identity: null, onNotice: () => {},
    ...options,
  }
}
