/**
 * How much one listener takes from those who ask. Each view has its own: a crowd
 * elsewhere shuts nobody out here.
 */

export const apiLimits = {
  /** A rack of 480 parts with notes is some 300 kB. */
  bodyBytes: 512 * 1024,
  /** A reason is at most 500 characters; more of a body is not waited for. */
  stopBodyBytes: 4096,
  stopBodyMs: 100,
  headerBytes: 8 * 1024,
  /** Whole header and whole request must have come by then. */
  headersMs: 5000,
  requestMs: 15_000,
  keepAliveMs: 5000,
  connections: 64,
  /** Event streams at once. */
  watchers: 16,
} as const
