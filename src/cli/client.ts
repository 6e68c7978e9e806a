/** Speaks to the daemon over HTTP. Its errors come back as the errors they were. */
import type { Clock } from '../base/clock.ts'
import { daemonHeader } from '../base/daemon-file.ts'
import { withDeadline } from '../base/deadline.ts'
import {
  asBenchError, BenchError, catalogue, isBenchError, type ErrorCode, type ErrorContext,
} from '../base/errors.ts'
import type { FeedItem } from '../schema/application.ts'

export interface Daemon {
  url: string
  token?: string | undefined
  /** Of the note that led there: another daemon that listens there by now is not asked. */
  note?: { readonly id: string; readonly pid: number } | undefined
}
/** A feed item, or `beat`: the daemon said that it is still there. */
export type Heard = FeedItem | { type: 'beat' }

const answerMs = 30_000
/** The feed speaks at least every fifteen seconds. */
const silenceMs = 40_000
/** A status of 480 positions is some 150 kB; what sends more without an end of item is no daemon. */
const itemCharsMax = 4 * 2 ** 20

export class DaemonClient {
  readonly #daemon: Daemon
  readonly #clock: Clock

  constructor(daemon: Daemon, clock: Clock) { this.#daemon = daemon; this.#clock = clock }

  /** Rejects DAEMON_GONE when nothing answers, or with the daemon's own error. */
  async get<T>(path: string, limitMs = answerMs): Promise<T> {
    return JSON.parse(await this.text(path, limitMs)) as T
  }

  async post<T>(path: string, body: unknown, limitMs = answerMs): Promise<T> {
    return JSON.parse(await this.postText(path, body, limitMs)) as T
  }

  async postText(path: string, body: unknown, limitMs = answerMs): Promise<string> {
    const sent = {
      method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(body)
    }
    return await this.#whole(path, sent, limitMs)
  }

  async text(path: string, limitMs = answerMs): Promise<string> {
    return await this.#whole(path, {}, limitMs)
  }

  /** The body piece by piece, however long it takes. */
  async *pieces(path: string): AsyncGenerator<string, void, undefined> {
    const control = new AbortController()
    const answer = await this.#ask(path, {}, answerMs, control.signal)
    const reader = bodyReader(answer)
    try {
      for (;;) {
        const piece = await this.#next(reader)
        if (piece === undefined) return
        yield piece
      }
    } finally {
      control.abort()
    }
  }

  /** The live feed until it ends; rejects DAEMON_GONE when it falls silent. */
  async *feed(): AsyncGenerator<Heard, void, undefined> {
    let text = ''
    for await (const piece of this.pieces('/feed')) {
      text += piece
      const blocks = text.split('\n\n')
      text = blocks.pop()!
      if (text.length > itemCharsMax) throw new BenchError('DAEMON_GONE', 'it sends without end')
      for (const block of blocks) yield heard(block)
    }
  }

  async #whole(path: string, init: RequestInit, limitMs: number): Promise<string> {
    return await withDeadline(this.#clock, limitMs, 'the daemon\'s answer', async signal =>
      await readAll(await this.#ask(path, init, limitMs, signal)))
      .catch(error => { throw gone(error) })
  }

  async #ask(path: string, init: RequestInit, limitMs: number, outer: AbortSignal): Promise<Response> {
    const { url, token, note } = this.#daemon
    const headers = {
      ...init.headers as Record<string, string>, ...(token ? { authorization: `Bearer ${token}` } : {}),
      ...note && { [daemonHeader]: note.id },
    }
    const control = new AbortController()
    outer.addEventListener('abort', () => control.abort(), { once: true })
    const answer = await withDeadline(this.#clock, limitMs, 'the daemon\'s answer', async () =>
      await fetch(`${url.replace(/\/$/, '')}/api/v1${path}`, { ...init, headers, signal: control.signal }))
      .catch(error => { control.abort(); throw gone(error) })
    if (note && isOfAnother(answer, note.id)) {
      control.abort()
      const noted = `the daemon that was noted, process ${note.pid}`
      throw new BenchError('DAEMON_GONE', `${noted}, is gone: another program answers at ${url}`)
    }
    if (!answer.ok) throw errorOf(answer.status, await readAll(answer))
    return answer
  }

  async #next(reader: BodyReader): Promise<string | undefined> {
    return await withDeadline(this.#clock, silenceMs, 'the daemon\'s next word', async () => await reader())
      .catch(error => { throw gone(error) })
  }
}

/** Only a daemon tells errors, and it has done nothing then. */
const isOfAnother = ({ ok, status, headers }: Response, id: string): boolean =>
  status === 421 || (ok && headers.get(daemonHeader) !== id)

type BodyReader = () => Promise<string | undefined>

function bodyReader(answer: Response): BodyReader {
  const reader = answer.body!.getReader()
  const decoder = new TextDecoder()
  return async () => {
    const { done, value } = await reader.read()
    return done ? undefined : decoder.decode(value as Uint8Array, { stream: true })
  }
}

async function readAll(answer: Response): Promise<string> { return await answer.text() }

function heard(block: string): Heard {
  const data = block.split('\n').filter(
    line => line.startsWith('data: ')
  ).map(line => line.slice(6)).join('\n')
  return data === '' ? { type: 'beat' } : JSON.parse(data) as FeedItem
}

/** A link that failed is a daemon that is not there; what the daemon itself said stays. */
function gone(error: unknown): BenchError {
  if (isBenchError(error) && error.code !== 'LINK_TIMEOUT') return error
  const late = isBenchError(error)
  return new BenchError('DAEMON_GONE', late ? error.message : 'the daemon does not answer', {}, error)
}

function errorOf(status: number, body: string): BenchError {
  try {
    const told = JSON.parse(body) as { code: ErrorCode; message: string; context: ErrorContext }
    if (!(told.code in catalogue)) throw new Error('an unknown code')
    return Object.assign(new BenchError(told.code, told.message), { context: told.context })
  } catch (cause) {
    const other = asBenchError(cause)
    return new BenchError(
      'DAEMON_GONE', `what answers is no daemon of this program (status ${status})`, {}, other
    )
  }
}
