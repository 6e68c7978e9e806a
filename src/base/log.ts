/** The log: one JSON object a line, for the operator of the computer, not of the bench. */
import { pino, type DestinationStream, type Logger } from 'pino'
import { isBenchError } from './errors.ts'
import { LogLines } from './log-lines.ts'

export const logLevels = ['silent', 'fatal', 'error', 'warn', 'info', 'debug', 'trace'] as const
export type LogLevel = (typeof logLevels)[number]
export type Log = Logger

/**
 * A logger at `level` that writes to `destination` (standard error when left out: standard output belongs to
 * answers). Errors are logged under `err`: a BenchError with code, mend and context. Tokens are never
 * written.
 */
export function makeLog(level: LogLevel, destination: DestinationStream = new LogLines(2)): Log {
  return pino({
    level,
    base: null,
    timestamp: pino.stdTimeFunctions.isoTime,
    formatters: { level: label => ({ level: label }) },
    serializers: { err: describeError },
    redact: { paths: ['token', 'req.headers.authorization', 'headers.authorization'], censor: 'withheld' },
  }, destination)
}

function describeError(error: unknown): unknown {
  if (isBenchError(error)) return { ...error.toJSON(), stack: error.stack, cause: describeCause(error.cause) }
  if (error instanceof Error) {
    return { message: error.message, stack: error.stack, cause: describeCause(error.cause) }
  }
  return { message: String(error) }
}

function describeCause(cause: unknown): string | undefined {
  if (cause === undefined) return undefined
  return cause instanceof Error ? cause.message : String(cause)
}
