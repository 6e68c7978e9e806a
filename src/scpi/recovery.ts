/**
 * Getting back in step with an instrument whose next line may answer an earlier question: silence,
 * a lone line end, a reset of its interface where it has one, then a question whose answer is
 * known and cannot be stale.
 */
import { sleep } from '../base/clock.ts'
import { BenchError, isTimeout } from '../base/errors.ts'
import type { ErrorCheck, InstrumentError } from './error-queue.ts'
import { drainMax, readErrorAnswer } from './error-queue.ts'
import type { Answer, Exchange } from './exchange.ts'
import { exchangeError } from './failure.ts'
import type { Link } from './link.ts'
import type { Settled } from './options.ts'

export interface Recovered {
  /** The answer to the identity query, when it was asked. */
  readonly identity: string | null
  readonly errors: readonly InstrumentError[]
}

/** How many quiet gaps the draining may take before the link counts as never silent. */
const gapsMax = 40

/**
 * Resynchronises a link that is suspect, and leaves it in step. `fresh`: it was just opened. `bound`: the
 * identity it must have, if one is known. `turn` counts the recoveries of a session, so that each uses
 * another number. Rejects with LINK_TIMEOUT, LINK_DOWN, IDENTITY …; the link is then of no use.
 */
export async function resynchronise(
  link: Link, options: Settled, fresh: boolean, bound: string | RegExp | null, turn: number,
): Promise<Recovered> {
  const talk = new Talk(link, options)
  await talk.silence()
  link.writeBlind(options.txTerminator)
  await talk.silence()
  if (!fresh) await clearInterface(link, options, talk)
  else for (const command of options.onConnect) await talk.tell(command)
  let identity: string | null = null
  if (options.resync === 'identity' || !await provedByNonce(talk, options, turn)) {
    identity = await provedByIdentity(talk, options, bound)
  }
  if (fresh && identity === null && options.identity) identity = await checkIdentity(talk, options, bound)
  const errors = await drainErrors(talk, options)
  link.inStepNow()
  // Half a line behind the last answer: what is asked next would wait for a recovery that nobody begins.
  if (!link.inStep) await talk.silence()
  return { identity, errors }
}

/** Whether an `*IDN?` answer is the one that is bound. */
export const identityMatches = (bound: string | RegExp, line: string): boolean =>
  typeof bound === 'string' ? line === bound : bound.test(line)

/** One exchange as a promise; for recovery and safe-off, which are sequences. */
export function exchangeOnce(link: Link, options: Settled, exchange: Exchange): Promise<Answer> {
  const startMs = options.linkClock.monotonicMs()
  return new Promise((resolve, reject) => link.start(exchange, options.deadlineMs, (failure, answer, got) => {
    if (failure === null) return resolve(answer)
    reject(exchangeError(options.name, exchange, failure, got, options.linkClock.monotonicMs() - startMs))
  }))
}

/** Questions and commands in the middle of a recovery, at the instrument's pace. */
class Talk {
  readonly #link: Link
  readonly #options: Settled
  readonly #epoch: number

  constructor(link: Link, options: Settled) {
    this.#link = link
    this.#options = options
    this.#epoch = link.epoch
  }

  async silence(): Promise<void> {
    const { name, quietMs } = this.#options
    this.#mayGoOn()
    if (await this.#link.quiet(quietMs, quietMs * gapsMax)) return this.#mayGoOn()
    this.#mayGoOn()
    if (!this.#link.up) throw new BenchError('LINK_DOWN', 'the link went down', { instrument: name })
    throw new BenchError('LINK_TIMEOUT', 'it does not fall silent', {
      instrument: name, elapsedMs: quietMs * gapsMax,
    })
  }

  async tell(command: string): Promise<void> {
    await this.#pace()
    await exchangeOnce(this.#link, this.#options, {
      command, expect: 'nothing', echo: this.#options.echo, recovery: true,
    })
  }

  async ask(command: string, accepts: (line: string) => boolean): Promise<string> {
    await this.#pace()
    const exchange: Exchange = { command, expect: 'line', echo: this.#options.echo, recovery: true, accepts }
    return String(await exchangeOnce(this.#link, this.#options, exchange))
  }

  async #pace(): Promise<void> {
    if (this.#options.pacingMs > 0) await sleep(this.#options.linkClock, this.#options.pacingMs)
    this.#mayGoOn()
  }

  /** Throws when a safe-off came between: the link is that one's now. */
  #mayGoOn(): void {
    if (this.#link.epoch === this.#epoch) return
    throw new BenchError('ABANDONED', 'cut short by a safe-off', { instrument: this.#options.name })
  }
}

async function clearInterface(link: Link, options: Settled, talk: Talk): Promise<void> {
  if (options.clear === 'none') return
  if (options.clear === 'ctrl-c') link.writeBlind('\x03')
  else await link.clear()
  await talk.silence()
}

/**
 * Writes a number into a register that every IEEE 488.2 instrument has, and waits to read it back; then
 * another one. A late answer may happen to be the first number, but hardly to be followed by the second.
 */
async function provedByNonce(talk: Talk, options: Settled, turn: number): Promise<boolean> {
  try {
    await talk.tell('*CLS')
    for (const nonce of [64 + turn % 61, 128 + turn % 127]) {
      await talk.tell(`*ESE ${nonce}`)
      await talk.ask('*ESE?', line => /^\+?\d+$/.test(line) && Number(line) === nonce)
    }
    await talk.tell('*ESE 0')
    return true
  } catch (error) {
    if (isTimeout(error) && options.identity) return false
    throw error
  }
}

async function provedByIdentity(
  talk: Talk, options: Settled, bound: string | RegExp | null,
): Promise<string> {
  if (bound === null) return await firstIdentity(talk, options)
  let other = ''
  try {
    const identity = await talk.ask(options.identity!.query, line => {
      if (identityMatches(bound, line)) return true
      other = line
      return false
    })
    // It may have been the late answer to an earlier identity query; then the other one is on its way.
    await talk.silence()
    return identity
  } catch (error) {
    if (isTimeout(error) && other !== '') throw wrongIdentity(options, bound, other)
    throw error
  }
}

/**
 * Nothing is known yet to compare with, but what may come late here is a number (of `*ESE?`) or an error
 * entry, and neither looks like an identity.
 */
async function firstIdentity(talk: Talk, options: Settled): Promise<string> {
  await talk.silence()
  return await talk.ask(options.identity!.query,
    line => /[A-Za-z]{2}/.test(line) && !/^[+-]?\d+\s*,/.test(line))
}

async function checkIdentity(talk: Talk, options: Settled, bound: string | RegExp | null): Promise<string> {
  const identity = await talk.ask(options.identity!.query, () => true)
  if (bound !== null && !identityMatches(bound, identity)) throw wrongIdentity(options, bound, identity)
  return identity
}

/** The error for an instrument that is not the one that was bound. */
export function wrongIdentity(options: Settled, bound: string | RegExp, got: string): BenchError {
  return new BenchError('IDENTITY', 'a different instrument answers', {
    instrument: options.name, command: options.identity!.query, expected: String(bound), got,
  })
}

async function drainErrors(talk: Talk, options: Settled): Promise<InstrumentError[]> {
  const check = options.errorQueue
  const errors: InstrumentError[] = []
  if (check === null) return errors
  for (let i = 0; i < drainMax(check); i++) {
    const error = readErrorAnswer(check, await talk.ask(check.query, line => isErrorAnswer(check, line)))
    if (error === null) break
    errors.push(error)
  }
  return errors
}

function isErrorAnswer(check: ErrorCheck, line: string): boolean {
  try { readErrorAnswer(check, line); return true } catch { return false }
}
