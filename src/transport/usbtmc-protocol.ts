/**
 * What the daemon and the child process of a USBTMC link say to each other. Structured
 * clone, so bytes stay bytes.
 */

export type ToChild =
  | { readonly do: 'open'; readonly path: string }
  /** `read`: the message is a query, so read its answer. */
  | { readonly do: 'write'; readonly bytes: Uint8Array; readonly read: boolean }
  | { readonly do: 'clear' }

export type FromChild =
  | { readonly is: 'open' }
  | { readonly is: 'bytes'; readonly bytes: Uint8Array }
  /**
   * `gone`: the device is not there any more. Otherwise the link goes on, e.g. after a
   * read that took too long.
   */
  | { readonly is: 'fault'; readonly code: string; readonly message: string; readonly gone: boolean }
  | { readonly is: 'cleared' }

/**
 * Whether a message asks for an answer: a header that ends in `?`, outside quoted strings. Reading when
 * nothing will come blocks for seconds and may leave the device stuck, so nothing is ever read on suspicion.
 */
export function asksForAnswer(message: string): boolean {
  const plain = message.replace(/"(?:[^"]|"")*"|'(?:[^']|'')*'/g, '""')
  return plain.split(';').some(unit => /^\s*[*:A-Za-z][\w:*]*\?(\s|$)/.test(unit))
}
