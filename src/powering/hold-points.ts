/** Steps that wait for a person at the bench. One at a time; the end of the run ends the wait. */
import { BenchError } from '../base/errors.ts'
import type { Recorder } from '../engine/recorder.ts'
import type { HoldPoint } from './power.ts'

export interface HoldDeps {
  readonly recorder: Pick<Recorder, 'event'>
  readonly signal: AbortSignal
  /** There is something else to wait for. */
  waits(): void
  stage(words: string): void
}

interface Waiting { readonly point: HoldPoint; readonly goOn: (person: string) => void }

export class HoldPoints {
  readonly #d: HoldDeps
  #waiting: Waiting | null = null

  constructor(deps: HoldDeps) { this.#d = deps }

  /** What is waited for; null where nothing is. */
  get point(): HoldPoint | null { return this.#waiting?.point ?? null }

  /** Resolves when a person has said to go on. Rejects with the reason when the run ends. */
  async hold(point: HoldPoint): Promise<{ readonly person: string }> {
    const { recorder, signal } = this.#d
    if (this.#waiting) throw new BenchError('USAGE', `${this.#waiting.point.id} is waited for already`)
    this.#d.stage(`waiting: ${point.text}`)
    await recorder.event({
      kind: 'hold', text: point.text, data: { id: point.id, mainsOn: point.mainsOn },
    })
    const person = await this.#answered(point, signal)
    await recorder.event({ kind: 'go-on', text: `${person} said to go on`, data: { id: point.id, person } })
    return { person }
  }

  /** Throws REFUSED where another step is waited for, or none; USAGE without a person. */
  answer(id: string, person: string): void {
    if (person.trim() === '') throw new BenchError('USAGE', 'going on needs a person')
    const waiting = this.#waiting
    if (waiting?.point.id !== id) {
      throw new BenchError('REFUSED', `nothing waits for ${id}`, {
        expected: waiting?.point.id ?? 'no step that waits', got: id,
      })
    }
    waiting.goOn(person)
  }

  #answered(point: HoldPoint, signal: AbortSignal): Promise<string> {
    return new Promise((resolve, reject) => {
      if (signal.aborted) return reject(signal.reason as Error)
      const over = (): void => {
        this.#waiting = null
        signal.removeEventListener('abort', gone)
        this.#d.waits()
      }
      const gone = (): void => { over(); reject(signal.reason as Error) }
      signal.addEventListener('abort', gone, { once: true })
      this.#waiting = { point, goOn: person => { over(); resolve(person) } }
      this.#d.waits()
    })
  }
}
