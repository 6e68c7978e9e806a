/** Programmer errors only. What an instrument or a person sends is never asserted; it is parsed. */
export class AssertionFault extends Error {
  override readonly name = 'AssertionFault'
}

/**
 * Throws AssertionFault when `condition` is false. An AssertionFault that nobody catches ends in safe-off.
 */
export function assert(condition: unknown, message: string): asserts condition {
  if (!condition) throw new AssertionFault(message)
}

/** Marks a branch the types say cannot be reached. */
export function unreachable(value: never): never {
  throw new AssertionFault(`unreachable: ${JSON.stringify(value)}`)
}
