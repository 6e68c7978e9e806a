/** What a session at a tray is made of: stages, how positions stand, what comes in and what is to be done. */
import type { Deed, Tone } from '../schema/screening.ts'
import type { TraySlot } from '../schema/tray.ts'
import type { Outcome } from './session.ts'

export type TrayStage =
  | { readonly is: 'empty tray' }
  | { readonly is: 'wires'; readonly positions: readonly string[] }
  /** `leads`: what hands mind. */
  | {
      readonly is: 'parts'; readonly laying: number; readonly of: number; readonly leads: string
      readonly slots: readonly StageSlot[]
    }
export interface StageSlot {
  readonly position: string; readonly what: 'part' | 'standard'; readonly id: string; readonly done: boolean
}

export interface SlotState extends TraySlot {
  /** In doubt: what was found. */
  readonly outcome: Outcome | null
  /** Told, and kept. */
  readonly grade: Outcome['grade'] | null
}

/** One measurement to be made. `forced`: a person had it made, whatever shows there. */
export interface Task {
  readonly position: string
  readonly forced: boolean
  readonly opinion: 'first' | 'second'
  readonly plusAt?: 1 | 2
}

/**
 * `asked`: a person is to do something, and to say so. `review`: the laying was measured, and something is to
 * be looked at. `faulty`: channels are not sound.
 */
export type TrayPhase = 'asked' | 'working' | 'review' | 'out of control' | 'faulty' | 'done'

export interface TrayState {
  readonly stages: readonly TrayStage[]
  readonly at: number
  readonly phase: TrayPhase
  /** Of the laying in hand, or of the last one while the tray is cleared. */
  readonly slots: readonly SlotState[]
  /** What is measured and still to be measured, in order; the open channels are seen first. */
  readonly queue: readonly (Task | 'open')[]
  readonly paused: boolean
  readonly ending: boolean
  /** Graded since the channels were last seen to be sound. */
  readonly since: readonly string[]
}

/** What a position showed when it was closed. */
export type SeenAt =
  | { readonly is: 'nothing seen' } | { readonly is: 'not still' }
  | { readonly is: 'measured'; readonly outcome: Outcome }
  | { readonly is: 'standard'; readonly inControl: boolean; readonly says: string }
  | { readonly is: 'failed'; readonly says: string }

export type TrayInput =
  | { readonly type: 'person'; readonly does: Deed; readonly at?: string }
  /** The empty tray was read, or wires. `forced`: because a person said so. */
  | {
      readonly type: 'zeroed'; readonly is: 'sound' | 'laid' | 'faulty'; readonly says: string
      readonly warns?: boolean; readonly forced: boolean
    }
  /** `stuck`: what is seen though all channels are open. */
  | { readonly type: 'open'; readonly stuck: string | null }
  | { readonly type: 'seen'; readonly position: string; readonly seen: SeenAt; readonly stuck: string | null }

export type TrayEffect =
  | { readonly do: 'zero'; readonly stage: TrayStage }
  | { readonly do: 'look open' }
  | { readonly do: 'measure'; readonly task: Task; readonly slot: SlotState }
  | { readonly do: 'keep'; readonly outcome: Outcome }
  | { readonly do: 'withdraw'; readonly id: string }
  | { readonly do: 'flag'; readonly ids: readonly string[]; readonly why: string }
  | { readonly do: 'tell'; readonly tone: Tone; readonly text: string; readonly about: string }
  | { readonly do: 'sum up'; readonly text: string; readonly slots: readonly SlotState[] }
  | { readonly do: 'refuse'; readonly why: string }
  | { readonly do: 'end' }

export interface TrayStep { readonly state: TrayState; readonly effects: readonly TrayEffect[] }

const nothing: readonly TrayEffect[] = []

export const still = (state: TrayState): TrayStep => ({ state, effects: nothing })
export const refuse = (state: TrayState, why: string): TrayStep =>
  ({ state, effects: [{ do: 'refuse', why }] })
export const tell = (tone: Tone, text: string, about = ''): TrayEffect => ({ do: 'tell', tone, text, about })
export const stageOf = ({ stages, at }: TrayState): TrayStage | null => stages[at] ?? null
export const before = ({ state, effects }: TrayStep, ...first: readonly TrayEffect[]): TrayStep =>
  ({ state, effects: [...first, ...effects] })

export const withSlot = ({ slots }: TrayState, position: string, over: Partial<SlotState>): SlotState[] =>
  slots.map(slot => slot.position === position ? { ...slot, ...over } : slot)

/** A person is to look at it, and to say something. */
export const asks = ({ stands }: SlotState): boolean =>
  stands === 'nothing seen' || stands === 'not still' || stands === 'in doubt'
