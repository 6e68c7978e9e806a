/**
 * Every error the program reports, in one table. `say` is the sentence; `mend` is what a person can do.
 * A code is never invented elsewhere; tests pin the table and DEVELOPERS.md prints it.
 */
export const catalogue = {
  // links
  LINK_OPEN: { kind: 'link', http: 502, mend: 'Check the cable, the power and the URL in the bench file.' },
  LINK_BUSY: {
    kind: 'link', http: 409, mend: 'Another program holds this port. Close it, or use its other port.',
  },
  LINK_DOWN: {
    kind: 'link', http: 502, mend: 'The link is gone. Nothing was queued; reconnect the instrument.',
  },
  LINK_TIMEOUT: {
    kind: 'link', http: 504, mend: 'The instrument did not answer. Check its power and its remote mode.',
  },
  LINK_OVERFLOW: {
    kind: 'link', http: 502, mend: 'It sent far more than an answer. Check baud rate and wiring.',
  },
  LINK_URL: { kind: 'file', http: 400, mend: 'Write serial:/dev/…, tcp://host:port or usbtmc:/dev/usbtmcN.' },
  // answers
  ANSWER_FORM: {
    kind: 'instrument', http: 502, mend: 'Check that the instrument profile matches this instrument.',
  },
  INSTRUMENT_ERROR: {
    kind: 'instrument', http: 502, mend: 'The instrument refused. Its own words are in the message.',
  },
  IDENTITY: {
    kind: 'instrument', http: 409, mend: 'A different instrument answers at this address. Check the cables.',
  },
  READ_BACK: {
    kind: 'instrument', http: 502, mend: 'The instrument did not take the setting. Do not use it unattended.',
  },
  NO_READING: {
    kind: 'instrument', http: 504,
    mend: 'Check the meter, its range and its leads: no good reading came in time.',
  },
  OUT_OF_RANGE: { kind: 'usage', http: 400, mend: 'Ask for a value that the instrument can do.' },
  ABANDONED: { kind: 'link', http: 409, mend: 'The exchange was cut short by a stop.' },
  // files and requests
  FILE_UNREADABLE: { kind: 'file', http: 400, mend: 'Check the path and the permissions.' },
  FILE_INVALID: { kind: 'file', http: 400, mend: 'Correct the lines named above.' },
  USAGE: { kind: 'usage', http: 400, mend: 'See --help.' },
  NOT_FOUND: {
    kind: 'usage', http: 404, mend: 'List what there is with `nightbench runs` or `nightbench instruments`.',
  },
  // safety
  REFUSED: {
    kind: 'refused', http: 409, mend: 'Change what the message names; this command energised nothing.',
  },
  TRIPPED: { kind: 'trip', http: 409, mend: 'Find the cause, then `nightbench ack` with the reason.' },
  STOPPED: { kind: 'trip', http: 409, mend: 'A person stopped the bench.' },
  KEEPER_GONE: {
    kind: 'host', http: 503,
    mend: 'The keeper process ended. The daemon starts a new one, which makes the bench safe.',
  },
  STORE: { kind: 'host', http: 500, mend: 'Check free space and the permissions of the data folder.' },
  ENERGY_UNKNOWN: {
    kind: 'host', http: 503, mend: 'Open the cutoff or switch the supply off by hand. '
      + 'On the computer of the bench `nightbench stop --data FOLDER` also asks its keeper.',
  },
  DAEMON_GONE: {
    kind: 'host', http: 503, mend: 'Start it with `nightbench serve`, or name its address with --daemon.',
  },
  HOST: { kind: 'host', http: 500, mend: 'See the log.' },
} as const

export type ErrorCode = keyof typeof catalogue

/** What a message needs beside its sentence. All optional; present ones are printed in this order. */
export interface ErrorContext {
  instrument?: string
  command?: string
  expected?: string
  got?: string
  elapsedMs?: number
  file?: string
  path?: string
  /** Everything that is wrong with a file, when there is more to say than one sentence holds. */
  problems?: readonly Problem[]
}

/** One thing wrong in a file or a request: where, what belongs there, and what stands there. */
export interface Problem {
  readonly file: string
  /** Dotted, like `fixture.positions[3].relay`; empty for the file as a whole. */
  readonly path: string
  readonly line?: number
  readonly column?: number
  readonly expected: string
  readonly got: string
}

/** The one error class. Branch with `code` or the predicates below, never on the message. */
export class BenchError extends Error {
  override readonly name = 'BenchError'
  readonly code: ErrorCode
  readonly context: ErrorContext

  constructor(code: ErrorCode, what: string, context: ErrorContext = {}, cause?: unknown) {
    super(sentence(what, context), cause === undefined ? undefined : { cause })
    this.code = code
    this.context = context
  }

  get mend(): string { return catalogue[this.code].mend }

  /** The shape every interface prints: log line, API body, CLI `--json`. */
  toJSON(): { code: ErrorCode; message: string; mend: string; context: ErrorContext } {
    return { code: this.code, message: this.message, mend: this.mend, context: this.context }
  }
}

function sentence(what: string, c: ErrorContext): string {
  const where = [c.file, c.path, c.instrument, c.command && `\`${c.command}\``].filter(Boolean).join(' ')
  const compared = c.expected === undefined ? '' : `: expected ${c.expected}, got ${c.got ?? 'nothing'}`
  const after = c.elapsedMs === undefined ? '' : ` after ${Math.round(c.elapsedMs)} ms`
  return `${where ? `${where}: ` : ''}${what}${compared}${after}`
}

export const isBenchError = (error: unknown): error is BenchError => error instanceof BenchError
export const hasCode = (error: unknown, ...codes: ErrorCode[]): error is BenchError =>
  error instanceof BenchError && codes.includes(error.code)
export const isTimeout = (error: unknown): boolean => hasCode(error, 'LINK_TIMEOUT')

/** Any thrown thing as a BenchError; keeps what it was as the cause. */
export function asBenchError(error: unknown, code: ErrorCode = 'HOST'): BenchError {
  if (error instanceof BenchError) return error
  return new BenchError(code, error instanceof Error ? error.message : String(error), {}, error)
}
