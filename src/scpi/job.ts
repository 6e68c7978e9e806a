/** One call of a session, from the moment it is made until it is settled. */
import { BenchError } from '../base/errors.ts'
import type { ErrorCheck, InstrumentError } from './error-queue.ts'
import { describeError, drainMax, readErrorAnswer } from './error-queue.ts'
import type { Answer } from './exchange.ts'

export interface Job {
  readonly command: string
  readonly expect: 'nothing' | 'line' | 'block'
  readonly deadlineMs: number
  readonly check: boolean
  readonly calledMs: number
  readonly resolve: (answer: Answer) => void
  readonly reject: (error: BenchError) => void
  startedMs: number
  /** Null until the command itself is through; then what the error queue held so far. */
  errors: InstrumentError[] | null
}

/**
 * Takes the next answer of a job that checks for errors: first that of its command, then those of the error
 * queue. True when the queue is empty and the job is done. Throws INSTRUMENT_ERROR or ANSWER_FORM.
 */
export function takeAnswer(
  job: Job, check: ErrorCheck, answer: Answer, instrument: string, nowMs: number,
): boolean {
  if (job.errors === null) { job.errors = []; return false }
  const error = readErrorAnswer(check, String(answer))
  if (error !== null) job.errors.push(error)
  if (error !== null && job.errors.length < drainMax(check)) return false
  if (job.errors.length === 0) return true
  throw new BenchError('INSTRUMENT_ERROR', 'the instrument refused', {
    instrument, command: job.command, expected: 'no error',
    got: job.errors.map(describeError).join('; '), elapsedMs: nowMs - job.startedMs,
  })
}
