/** How a driver speaks: whole exchanges, one at a time, by a session of its own or through the keeper. */

export interface CallOptions {
  /** Replaces the session's deadline for each exchange of this call, in ms. */
  readonly deadlineMs?: number
}

export interface WriteOptions extends CallOptions {
  /**
   * Read the error queue afterwards and fail this call on an entry. Default true where
   * there is an error queue.
   */
  readonly check?: boolean
}

/**
 * Every call rejects with a BenchError: LINK_DOWN at once when the link is down, LINK_TIMEOUT, ANSWER_FORM,
 * ABANDONED when a safe-off came between, LINK_BUSY when too many callers wait.
 */
export interface ScpiPort {
  readonly name: string
  /**
   * Sends one query and gives its answer: one line, stripped of white space and control
   * characters at both ends.
   */
  query(command: string, options?: CallOptions): Promise<string>
  /**
   * Sends one command; with `check`, an error the instrument reports fails this call with INSTRUMENT_ERROR.
   */
  write(command: string, options?: WriteOptions): Promise<void>
  /**
   * Sends one query and gives the data bytes of the block that answers it. Left out where the way there has
   * no room for blocks: the keeper passes lines alone.
   */
  queryBlock?(command: string, options?: CallOptions): Promise<Uint8Array>
}
