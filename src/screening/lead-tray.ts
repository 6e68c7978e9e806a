/**
 * The thin shell around the session at a tray: it has the tray read, its positions measured, and carries out
 * what the machine says, in order. A result is on record before it is told. What a person does comes in
 * between, at any time.
 */
import type { Clock } from '../base/clock.ts'
import { asBenchError, hasCode } from '../base/errors.ts'
import type { Deed, Tone } from '../schema/screening.ts'
import type { Verdict } from './grade.ts'
import { orAborted, queued, Rest } from './led.ts'
import type { Told } from './methods/leakage.ts'
import { beginTray, stepTray } from './tray-session.ts'
import {
  stageOf, type SeenAt, type SlotState, type Task, type TrayEffect, type TrayInput, type TrayStage,
  type TrayState,
} from './tray-state.ts'

export type ZeroStage = Exclude<TrayStage, { is: 'parts' }>
export interface Zeroed {
  readonly is: 'sound' | 'laid' | 'faulty'
  readonly says: string
  readonly warns?: boolean
}

export interface TrayPorts {
  readonly clock: Clock
  /** From one look at a tray that is being cleared to the next, ms. */
  readonly lookEveryMs: number
  /** Called whenever the session takes its next step, and while it waits. */
  turned(): void
  zero(stage: ZeroStage): Promise<Zeroed>
  /** What is seen though all channels are open; by the means for this one, or for all that lies there. */
  lookOpen(slots: readonly SlotState[]): Promise<string | null>
  /** `nothing seen` and `not still` only where it is not `forced`. */
  prove(slot: SlotState, forced: boolean, told: Told): Promise<Verdict | 'nothing seen' | 'not still'>
  checkStandard(slot: SlotState): Promise<SeenAt>
  keep(verdict: Verdict, opinion: 'first' | 'second', position: string): Promise<void>
  withdraw(id: string): Promise<void>
  flag(ids: readonly string[], why: string): Promise<void>
  tell(tone: Tone, text: string, about: string): void
  sumUp(text: string, slots: readonly SlotState[]): Promise<void>
}

/** A wait is cut into pieces of this: the keeper is fed meanwhile. */
const waitPieceMs = 5000

export class LedTray {
  readonly #ports: TrayPorts
  readonly #signal: AbortSignal
  readonly #todo: TrayEffect[]
  /** Of parts that were measured and are not kept yet, by id. */
  readonly #verdicts = new Map<string, { verdict: Verdict; opinion: 'first' | 'second'; position: string }>()
  #state: TrayState
  readonly #rest: Rest

  constructor(stages: readonly TrayStage[], ports: TrayPorts, signal: AbortSignal) {
    const { state, effects } = beginTray(stages)
    this.#state = state
    this.#todo = [...effects]
    this.#ports = ports
    this.#signal = signal
    this.#rest = new Rest(ports.clock, signal)
  }

  get state(): TrayState { return this.#state }

  /** What a person does, at a position where it is of one; the reason where it cannot be done now. */
  do(does: Deed, at?: string): string | null {
    const refused = this.#feed({ type: 'person', does, ...at === undefined ? {} : { at } })
    this.#rest.wake()
    return refused
  }

  /** Until the tray is through. Rejects when it is aborted, and when a result cannot be kept. */
  async run(): Promise<void> {
    for (;;) {
      this.#signal.throwIfAborted()
      this.#ports.turned()
      const effect = this.#todo.shift()
      if (effect) await orAborted(this.#carryOut(effect), this.#signal)
      else if (this.#state.phase === 'done') return
      else await orAborted(this.#wait(), this.#signal)
    }
  }

  #feed(input: TrayInput): string | null {
    const { state, effects } = stepTray(this.#state, input)
    this.#state = state
    return queued(this.#todo, effects)
  }

  /** A tray that is to be cleared is looked at again and again; else a person is waited for. */
  async #wait(): Promise<void> {
    const stage = stageOf(this.#state)
    const isCleared = this.#state.phase === 'asked' && stage?.is === 'empty tray' && !this.#state.paused
    if (isCleared) await this.#zero(stage, false)
    if (this.#todo.length > 0) return
    await this.#rest.for(isCleared ? this.#ports.lookEveryMs : waitPieceMs)
  }

  async #carryOut(effect: TrayEffect): Promise<void> {
    switch (effect.do) {
      case 'zero': return effect.stage.is === 'parts' ? undefined : await this.#zero(effect.stage, true)
      case 'look open':
        return void this.#feed({ type: 'open', stuck: await this.#ports.lookOpen(this.#state.slots) })
      case 'measure': return await this.#measure(effect.task, effect.slot)
      case 'keep': return await this.#keep(effect.outcome.id)
      case 'withdraw': return await this.#ports.withdraw(effect.id)
      case 'flag': return await this.#ports.flag(effect.ids, effect.why)
      case 'tell': return this.#ports.tell(effect.tone, effect.text, effect.about)
      case 'sum up': return await this.#ports.sumUp(effect.text, effect.slots)
      case 'refuse': case 'end': return
    }
  }

  async #zero(stage: ZeroStage, forced: boolean): Promise<void> {
    try {
      this.#feed({ type: 'zeroed', ...await this.#ports.zero(stage), forced })
    } catch (error) {
      this.#throwIfGrave(error)
      this.#feed({ type: 'zeroed', is: 'laid', says: asBenchError(error).message, forced })
    }
  }

  async #measure(task: Task, slot: SlotState): Promise<void> {
    const seen = await this.#seen(task, slot)
    const stuck = await this.#ports.lookOpen([slot])
    this.#feed({ type: 'seen', position: slot.position, seen, stuck })
  }

  async #seen({ forced, opinion, plusAt }: Task, slot: SlotState): Promise<SeenAt> {
    try {
      if (slot.what === 'standard') return await this.#ports.checkStandard(slot)
      const verdict = await this.#ports.prove(slot, forced, plusAt ? { plusAt } : {})
      if (typeof verdict === 'string') return { is: verdict }
      this.#verdicts.set(slot.id, { verdict, opinion, position: slot.position })
      const { id, grade, says, strange, looksLike, asks } = verdict
      const asked = asks === undefined ? {} : { asks }
      return { is: 'measured', outcome: { id, grade, says, strange, looksLike, ...asked } }
    } catch (error) {
      this.#throwIfGrave(error)
      return { is: 'failed', says: asBenchError(error).message }
    }
  }

  /** What may be charged must not meet another instrument, nor a contact that moves: a person looks first. */
  #throwIfGrave(error: unknown): void {
    this.#signal.throwIfAborted()
    if (hasCode(error, 'TRIPPED')) throw error
  }

  async #keep(id: string): Promise<void> {
    const held = this.#verdicts.get(id)
    if (!held) throw new Error(`no verdict of ${id} to keep`)
    this.#verdicts.delete(id)
    await this.#ports.keep(held.verdict, held.opinion, held.position)
  }
}
