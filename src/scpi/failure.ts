/** What a failed exchange is called, with everything a person needs to find the cause. */
import type { ErrorCode, ErrorContext } from '../base/errors.ts'
import { BenchError } from '../base/errors.ts'
import { shorten } from './error-queue.ts'
import type { Exchange, Failure } from './exchange.ts'

const table: Record<Failure, { code: ErrorCode; what: string }> = {
  timeout: { code: 'LINK_TIMEOUT', what: 'no answer' },
  surplus: {
    code: 'ANSWER_FORM', what: 'two answers came to one question, and which is its own cannot be told',
  },
  form: { code: 'ANSWER_FORM', what: 'not the kind of answer that was asked for' },
  overflow: { code: 'LINK_OVERFLOW', what: 'it sent more than one answer can be; the link is closed' },
  abandoned: { code: 'ABANDONED', what: 'cut short by a safe-off' },
  down: { code: 'LINK_DOWN', what: 'the link is down; nothing is kept for later' },
  'out-of-step': { code: 'LINK_DOWN', what: 'the link is out of step' },
  busy: { code: 'LINK_BUSY', what: 'an exchange is in flight' },
}

/** The error of one exchange. `got`: the text that was in the way. */
export function exchangeError(
  instrument: string, exchange: Pick<Exchange, 'command' | 'expect'>, failure: Failure,
  got: string | undefined,
  elapsedMs: number,
): BenchError {
  const { code, what } = table[failure]
  const context: ErrorContext = { instrument, command: exchange.command, elapsedMs }
  if (failure === 'timeout') context.expected = expected(exchange)
  if (got !== undefined) {
    context.expected = expected(exchange)
    context.got = shorten(got)
  }
  return new BenchError(code, what, context)
}

/** A time-out on a connection that was taken: many instruments serve one client and let the next one hang. */
export function silentError(error: BenchError, instrument: string, url: string): BenchError {
  if (error.code !== 'LINK_TIMEOUT' || !url.startsWith('tcp:')) return error
  return new BenchError('LINK_TIMEOUT',
    `${url} took the connection but does not answer; another program may hold the `
    + 'only connection that it serves', { ...error.context, instrument }, error)
}

const expected = (exchange: Pick<Exchange, 'expect'>): string =>
  ({ nothing: 'its echo', line: 'one line', block: 'a block of data' })[exchange.expect]
