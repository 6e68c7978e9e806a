/**
 * The thin shell around the session machine: it looks at the jig, has parts and standards measured, and
 * carries out what the machine says, in order. A result is on record before it is told. What a person
 * does comes in between, at any time.
 */
import type { Clock } from '../base/clock.ts'
import { asBenchError, hasCode } from '../base/errors.ts'
import type { Look } from './contact.ts'
import type { Verdict } from './grade.ts'
import { orAborted, queued, Rest } from './led.ts'
import type { Told } from './methods/leakage.ts'
import {
  stepSession,
  type Asked,
  type Deed,
  type Outcome,
  type SessionEffect,
  type SessionInput,
  type SessionState,
  type SessionStep,
  type Tone,
  type ZeroName,
} from './session.ts'

export interface SessionPorts {
  readonly clock: Clock
  /** Called whenever the session takes its next step: one that hangs calls it no more. */
  turned?(): void
  /** From one look at the jig to the next, ms. */
  readonly lookEveryMs: number
  look(asked: Asked): Promise<Look>
  prove(asked: Asked, told?: Told): Promise<Verdict>
  checkStandard(asked: Asked): Promise<{ inControl: boolean; says: string }>
  /** Measures what the jig is compensated by. */
  zero(what: ZeroName): Promise<{ ok: boolean; says: string; warns?: boolean }>
  /** Resolves when it is durable. */
  keep(verdict: Verdict, opinion: 'first' | 'second'): Promise<void>
  withdraw(id: string): Promise<void>
  flag(ids: readonly string[], standard: string): Promise<void>
  /** `about`: the part or standard that it is said of. */
  tell(tone: Tone, text: string, about: string): void
}

export class LedSession {
  readonly #ports: SessionPorts
  readonly #signal: AbortSignal
  #state: SessionState
  /** What the machine wants done, in order. */
  readonly #todo: SessionEffect[]
  #verdict: { verdict: Verdict; opinion: 'first' | 'second' } | null = null
  readonly #rest: Rest

  constructor(begun: SessionStep, ports: SessionPorts, signal: AbortSignal) {
    this.#state = begun.state
    this.#todo = [...begun.effects]
    this.#ports = ports
    this.#signal = signal
    this.#rest = new Rest(ports.clock, signal)
  }

  get state(): SessionState {
    return this.#state
  }

  /** What a person does; the reason where it cannot be done now. */
  do(deed: Deed): string | null {
    const refused = this.#feed({ type: 'person', does: deed })
    this.#rest.wake()
    return refused
  }

  /** Until the session is at its end. Rejects when it is aborted, and when a result cannot be kept. */
  async run(): Promise<void> {
    for (;;) {
      this.#signal.throwIfAborted()
      this.#ports.turned?.()
      const effect = this.#todo.shift()
      if (effect) await orAborted(this.#carryOut(effect), this.#signal)
      else if (this.#state.mode.is === 'done') return
      else await orAborted(this.#lookOnce(), this.#signal)
    }
  }

  #feed(input: SessionInput): string | null {
    const { state, effects } = stepSession(this.#state, input)
    this.#state = state
    return queued(this.#todo, effects)
  }

  async #lookOnce(): Promise<void> {
    const { clock, lookEveryMs } = this.#ports
    const startMs = clock.monotonicMs()
    const { mode } = this.#state
    if (mode.is === 'asked' || mode.is === 'in doubt') {
      const look = await this.#ports.look(mode.asked)
      // A deed may have come while the bridge measured: the look belongs to what was asked then.
      if (this.#state.mode === mode) this.#feed({ type: 'look', look })
    }
    if (this.#todo.length > 0) return
    await this.#rest.for(lookEveryMs - (clock.monotonicMs() - startMs))
  }

  async #carryOut(effect: SessionEffect): Promise<void> {
    switch (effect.do) {
      case 'measure':
        return this.#measure(effect.asked, effect.opinion, effect.plusAt ? { plusAt: effect.plusAt } : {})
      case 'keep':
        return this.#keep(effect.outcome)
      case 'withdraw':
        return this.#ports.withdraw(effect.id)
      case 'flag':
        return this.#ports.flag(effect.ids, effect.standard)
      case 'tell':
        return this.#ports.tell(effect.tone, effect.text, effect.about)
      case 'refuse':
      case 'end':
        return
    }
  }

  async #measure(asked: Asked, opinion: 'first' | 'second', told: Told): Promise<void> {
    try {
      if (asked.what === 'standard') {
        this.#feed({ type: 'standard', id: asked.id, ...(await this.#ports.checkStandard(asked)) })
        return
      }
      if (asked.what !== 'part') {
        this.#feed({ type: 'zeroed', id: asked.id, ...(await this.#ports.zero(asked.what)) })
        return
      }
      const verdict = await this.#ports.prove(asked, told)
      this.#verdict = { verdict, opinion }
      this.#feed({ type: 'measured', outcome: outcomeOf(verdict) })
    } catch (error) {
      this.#signal.throwIfAborted()
      // What may be charged must not meet another instrument: a person looks first.
      if (hasCode(error, 'TRIPPED')) throw error
      this.#feed({ type: 'failed', says: asBenchError(error).message })
    }
  }

  async #keep({ id }: Outcome): Promise<void> {
    const held = this.#verdict
    if (held === null || held.verdict.id !== id) throw new Error(`no verdict of ${id} to keep`)
    await this.#ports.keep(held.verdict, held.opinion)
  }
}

const outcomeOf = ({ id, grade, says, strange, looksLike, asks }: Verdict): Outcome => ({
  id,
  grade,
  says,
  strange,
  looksLike,
  ...(asks === undefined ? {} : { asks }),
})
