/** Work that reads much and must not hold up a write: it stops at every yield. */
export type Steps<T> = Generator<void, T, void>

/** Runs `steps` to their end at once. */
export function finish<T>(steps: Steps<T>): T {
  for (;;) {
    const step = steps.next()
    if (step.done) return step.value
  }
}
