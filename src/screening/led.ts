/** What both shells around a session machine do alike: end when aborted, wait until woken, queue effects. */
import type { Clock } from '../base/clock.ts'

/** An instrument that never answers must not keep a session from ending. Rejects once aborted. */
export async function orAborted(work: Promise<void>, signal: AbortSignal): Promise<void> {
  let stop = (): void => {}
  const aborted = new Promise<void>(resolve => { stop = resolve })
  signal.addEventListener('abort', stop, { once: true })
  try {
    await Promise.race([work, aborted])
  } catch (error) {
    // What was cut short by the end is not why it ended.
    signal.throwIfAborted()
    throw error
  } finally {
    signal.removeEventListener('abort', stop)
  }
  signal.throwIfAborted()
}

/** A wait that ends early when a person does something, or when the session is aborted. */
export class Rest {
  readonly #clock: Clock
  #wake: () => void = () => {}

  constructor(clock: Clock, signal: AbortSignal) {
    this.#clock = clock
    signal.addEventListener('abort', () => this.wake(), { once: true })
  }

  wake(): void { this.#wake() }

  for(ms: number): Promise<void> {
    if (ms <= 0) return Promise.resolve()
    return new Promise(resolve => {
      const cancel = this.#clock.after(ms, resolve)
      this.#wake = () => {
        cancel()
        resolve()
      }
    })
  }
}

interface Effect { readonly do: string }
interface Refused { readonly do: 'refuse'; readonly why: string }

/** Puts what is to be done behind what is; gives why a person's deed was refused, or null. */
export function queued<E extends Effect>(todo: E[], effects: readonly E[]): string | null {
  let refused: string | null = null
  for (const effect of effects) {
    if (isRefused(effect)) refused = effect.why
    else todo.push(effect)
  }
  return refused
}

const isRefused = <E extends Effect>(effect: E | Refused): effect is Refused => effect.do === 'refuse'
