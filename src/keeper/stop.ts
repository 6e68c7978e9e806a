/** Stops a bench through its keeper, without the daemon. */
import { connect } from 'node:net'
import { userInfo } from 'node:os'
import { RealClock, type Clock } from '../base/clock.ts'
import { withDeadline } from '../base/deadline.ts'
import { BenchError } from '../base/errors.ts'
import type { SafeOffReport } from '../schema/application.ts'
import { stopAnswer } from './protocol.ts'
import { stopPath } from './stop-path.ts'

export interface StopOptions {
  by?: string
  /**
   * How long the answer may take, in ms: off commands, resynchronisation and read-back of the slowest link.
   */
  limitMs?: number
  clock?: Clock
}

const defaultLimitMs = 20_000

/**
 * Asks the keeper of `dataFolder` to make the bench safe, and resolves with what it did. Rejects KEEPER_GONE
 * when no keeper listens there, LINK_TIMEOUT when it does not answer.
 */
export async function stopByKeeper(
  dataFolder: string, reason: string, options: StopOptions = {},
): Promise<SafeOffReport> {
  const clock = options.clock ?? new RealClock()
  const line = `${JSON.stringify({ stop: reason, by: options.by ?? userInfo().username })}\n`
  const answer = await withDeadline(clock, options.limitMs ?? defaultLimitMs, 'the keeper\'s answer',
    signal => ask(stopPath(dataFolder), line, signal))
  const parsed = stopAnswer.safeParse(answer)
  if (!parsed.success) throw new BenchError('HOST', 'the keeper answered something else than a report')
  if ('error' in parsed.data) throw new BenchError('HOST', `the keeper refused: ${parsed.data.error}`)
  return parsed.data
}

function ask(path: string, line: string, signal: AbortSignal): Promise<unknown> {
  return new Promise((resolve, reject) => {
    let text = ''
    const socket = connect({ path })
    signal.addEventListener('abort', () => socket.destroy(), { once: true })
    socket.setEncoding('utf8')
    socket.on('connect', () => socket.write(line))
    socket.on('data', chunk => { text += String(chunk) })
    socket.on(
      'error', cause => reject(new BenchError('KEEPER_GONE', `no keeper listens at ${path}`, {}, cause))
    )
    socket.on('close', () => {
      try { resolve(JSON.parse(text)) } catch (cause) {
        reject(new BenchError('KEEPER_GONE', 'the keeper went away before it had answered', {}, cause))
      }
    })
  })
}
