/** Hands at a jig for tests of the session machine, and what they may do. */
import fc from 'fast-check'
import { deeds } from '../../src/schema/screening.ts'
import { usualContact } from '../../src/screening/contact.ts'
import {
  beginSession, stepSession, type Asked, type Outcome, type SessionEffect, type SessionInput, type SessionState, type ZeroName,
} from '../../src/screening/session.ts'

const contact = { ...usualContact, openOhm: 1e6 }
const part = (id: string): Asked => ({ what: 'part', id, contact })
const standard = (id: string): Asked => ({ what: 'standard', id, contact })
const zero = (what: ZeroName): Asked => ({ what, id: what, contact })

/** One jig and what is in it: looks ten times a second. */
export class Hands {
  state: SessionState
  readonly effects: SessionEffect[] = []
  #nowMs = 0

  constructor(
    parts: string[], standards: string[] = [], standardsEvery = 5, settled: string[] = [], zeros: readonly ZeroName[] = [],
  ) {
    const begun = beginSession(
      { parts: parts.map(part), standards: standards.map(standard), standardsEvery, zeros: zeros.map(zero) }, new Set(settled),
    )
    this.state = begun.state
    this.effects.push(...begun.effects)
  }

  feed(input: SessionInput): readonly SessionEffect[] {
    const step = stepSession(this.state, input)
    this.state = step.state
    this.effects.push(...step.effects)
    return step.effects
  }

  look(ohm: number, times = 1): void {
    for (let i = 0; i < times; i++) {
      this.#nowMs += 100
      this.feed({ type: 'look', look: { atMs: this.#nowMs, ohm, noiseOhm: ohm === Infinity ? 0 : ohm * 1e-4 } })
    }
  }

  /** Takes out what is in, puts the part in, and answers the measurement. */
  put(ohm: number, outcome: Partial<Outcome> = {}): void {
    this.look(Infinity, 3)
    this.look(ohm, 6)
    this.answer(outcome)
  }

  answer(outcome: Partial<Outcome> = {}): void {
    const { mode } = this.state
    if (mode.is !== 'asked' || mode.phase !== 'measuring') return
    const { id, what } = mode.asked
    if (what === 'standard') this.feed({ type: 'standard', id, inControl: true, says: `${id} in control` })
    else if (what !== 'part') this.zeroed()
    else this.feed({ type: 'measured', outcome: { ...sound(id), ...outcome } })
  }

  zeroed(over: { ok?: boolean; warns?: boolean } = {}): void {
    if ('asked' in this.state.mode) this.feed({ type: 'zeroed', id: this.state.mode.asked.id, ok: true, says: 'read', ...over })
  }

  get asked(): string | null { return 'asked' in this.state.mode ? this.state.mode.asked.id : null }
  of<D extends SessionEffect['do']>(kind: D): (SessionEffect & { do: D })[] {
    return this.effects.filter(one => one.do === kind) as (SessionEffect & { do: D })[]
  }
  /** Parts with a result that was not taken back. */
  get kept(): string[] {
    const ids: string[] = []
    for (const one of this.effects) {
      if (one.do === 'keep' && !ids.includes(one.outcome.id)) ids.push(one.outcome.id)
      if (one.do === 'withdraw') ids.splice(ids.indexOf(one.id), 1)
    }
    return ids
  }
}

const sound = (id: string): Outcome => ({ id, grade: 'accept', says: `${id} good`, strange: false, looksLike: null })

export const action = fc.oneof(
  { weight: 6, arbitrary: fc.record({ kind: fc.constant('put' as const), strange: fc.boolean() }) },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant('look' as const), ohm: fc.constantFrom(Infinity, 100, 150) }) },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant('fail' as const) }) },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant('drift' as const) }) },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant('zeroed' as const), ok: fc.boolean() }) },
  { weight: 3, arbitrary: fc.record({ kind: fc.constant('deed' as const), does: fc.constantFrom(...deeds.filter(d => d !== 'end')) }) },
)

/** A patient person with sound parts brings every session to its end. */
export function finish(hands: Hands): void {
  hands.feed({ type: 'person', does: 'resume' })
  for (let i = 0; i < 60 && hands.state.mode.is !== 'done'; i++) {
    if (hands.state.mode.is === 'out of control') hands.feed({ type: 'person', does: 'adjusted' })
    if (hands.state.mode.is === 'in doubt') hands.feed({ type: 'person', does: 'keep' })
    hands.answer()
    if (hands.asked === 'empty jig') hands.feed({ type: 'person', does: 'measure' })
    hands.answer()
    hands.put(100)
  }
  hands.look(Infinity, 3)
}
