/** Deadlines that cancel the work they guard and free their timer. */
import type { Clock } from './clock.ts'
import { BenchError } from './errors.ts'

/**
 * Runs `work` with a signal that aborts after `limitMs` or when `outer` aborts. Rejects with LINK_TIMEOUT
 * naming `what`; never resolves undefined on time-out. The work must listen to its signal.
 */
export async function withDeadline<T>(
  clock: Clock, limitMs: number, what: string, work: (signal: AbortSignal) => Promise<T>, outer?: AbortSignal,
): Promise<T> {
  const control = new AbortController()
  const onOuter = (): void => control.abort(outer!.reason)
  if (outer?.aborted) onOuter()
  outer?.addEventListener('abort', onOuter, { once: true })
  const cancel = clock.after(limitMs, () =>
    control.abort(new BenchError('LINK_TIMEOUT', `${what} took too long`, { elapsedMs: limitMs })))
  const aborted = new Promise<never>((_, reject) => {
    control.signal.addEventListener('abort', () => reject(control.signal.reason as Error), { once: true })
    if (control.signal.aborted) reject(control.signal.reason as Error)
  })
  try {
    return await Promise.race([work(control.signal), aborted])
  } finally {
    cancel()
    outer?.removeEventListener('abort', onOuter)
  }
}
