/**
 * What follows at a tray when something was measured, or a person has laid it: from stage to stage, and from
 * position to position. Pure.
 */
import type { Outcome } from './session.ts'
import {
  asks, before, refuse, stageOf, still, tell, withSlot, type SeenAt, type SlotState, type StageSlot,
  type Task, type TrayEffect, type TrayInput, type TrayStage, type TrayState, type TrayStep,
} from './tray-state.ts'
import { summaryOf } from './tray-words.ts'

// ---- from stage to stage ----

/** Asks for what the stage wants; a laying begins with nothing measured. */
export function enter(state: TrayState): TrayStep {
  const stage = stageOf(state)
  if (stage === null || state.ending) return ended(state)
  const slots = stage.is === 'parts' ? stage.slots.map(slotOf)
    : stage.is === 'wires' ? [] : state.slots
  return {
    state: { ...state, phase: 'asked', slots, queue: [] },
    effects: [tell('ask', askOf(stage), stage.is)],
  }
}

const slotOf = ({ position, what, id, done }: StageSlot): SlotState =>
  ({ position, what, id, stands: done ? 'as before' : 'to lay', says: null, outcome: null, grade: null })

function askOf(stage: TrayStage): string {
  switch (stage.is) {
    case 'empty tray':
      return 'clear the tray: nothing on any position; where that is so and nothing happens, say measure'
    case 'wires': return `bare wires at ${stage.positions.join(' ')}, and nowhere else. Then say laid`
    case 'parts': {
      const lies = stage.slots.filter(({ done }) => !done).map(({ position, id }) => `${position} ${id}`)
      return `lay ${lies.join(', ')}: ${stage.leads}. Then say laid`
    }
  }
}

export const ended = (state: TrayState): TrayStep =>
  ({ state: { ...state, at: state.stages.length, phase: 'done', queue: [] }, effects: [{ do: 'end' }] })

export function zeroed(
  state: TrayState, { is, says, warns = false, forced }: TrayInput & { type: 'zeroed' },
): TrayStep {
  const stage = stageOf(state)
  if (state.phase !== 'asked' || stage === null || stage.is === 'parts') return still(state)
  if (is === 'sound') {
    const since = stage.is === 'empty tray' ? [] : state.since
    return before(enter({ ...state, since, slots: [], at: state.at + 1 }),
      tell(warns ? 'attention' : 'good', says, stage.is))
  }
  // While hands clear the tray every look finds something; only what a person calls empty is judged.
  if (!forced) return still(state)
  if (is === 'laid') return { state, effects: [tell('attention', says, stage.is)] }
  return unsound(state, says)
}

/** Channels that do not do what they are told: what was graded since they last did does not stand. */
function unsound(state: TrayState, says: string): TrayStep {
  const text = `${says}. Nothing is graded until the cause is mended: then say adjusted`
  const why = 'a channel of the scanner was not sound after it'
  const flag: TrayEffect = { do: 'flag', ids: state.since, why }
  return {
    state: { ...state, phase: 'faulty', queue: [], since: [], slots: reset(state, state.since) },
    effects: [...state.since.length > 0 ? [flag] : [], tell('attention', text)],
  }
}

const reset = ({ slots }: TrayState, ids: readonly string[]): SlotState[] => slots.map(slot =>
  ids.includes(slot.id) ? { ...slot, stands: 'to lay', grade: null, outcome: null } : slot)

// ---- one position after the other ----

export function laid(state: TrayState): TrayStep {
  const stage = stageOf(state)
  if (state.phase === 'working') return refuse(state, 'the tray is being measured')
  if (stage?.is === 'wires') return { state, effects: [{ do: 'zero', stage }] }
  if (stage?.is !== 'parts' || state.phase !== 'asked') return refuse(state, 'no tray is asked for now')
  const task = ({ position }: SlotState): Task => ({ position, forced: false, opinion: 'first' })
  const open = state.slots.filter(({ stands }) => stands === 'to lay' || stands === 'not still')
  const standards = state.slots.filter(({ what }) => what === 'standard').map(task)
  const parts = open.filter(({ what }) => what === 'part').map(task)
  return next({ ...state, phase: 'working', queue: ['open', ...standards, ...parts, ...standards] })
}

/** The next measurement, or what comes after the last. */
export function next(state: TrayState): TrayStep {
  if (state.ending) return ended(state)
  const [task] = state.queue
  if (task === undefined) return through(state)
  if (state.paused) return still(state)
  if (task === 'open') return { state, effects: [{ do: 'look open' }] }
  const slots = withSlot(state, task.position, { stands: 'measuring' })
  return {
    state: { ...state, slots },
    effects: [{ do: 'measure', task, slot: slots.find(({ position }) => position === task.position)! }],
  }
}

export function stuck(state: TrayState, what: string): TrayStep {
  const slots = state.slots.map((slot): SlotState =>
    slot.stands === 'measuring' ? { ...slot, stands: 'to lay', grade: null } : slot)
  return {
    state: { ...state, phase: 'faulty', queue: [], slots },
    effects: [tell('attention', `all channels are open, and yet ${what} is seen: a channel stays closed, or `
      + 'something lies in the holder of the jig. Nothing more is graded until the cause is mended: then say '
      + 'adjusted')],
  }
}

/** What was found counts once all channels were seen open after it. */
export function seen(state: TrayState, input: TrayInput & { type: 'seen' }): TrayStep {
  const [task, ...queue] = state.queue
  const slot = state.slots.find(({ position }) => position === input.position)
  if (state.phase !== 'working' || task === undefined || task === 'open' || !slot) return still(state)
  if (task.position !== input.position) return still(state)
  if (input.stuck !== null) return stuck(state, input.stuck)
  const after = { ...state, queue }
  const mark = (over: Partial<SlotState>): TrayState =>
    ({ ...after, slots: withSlot(after, slot.position, over) })
  const found = input.seen
  if (slot.what === 'standard') return standard(mark, slot, found)
  switch (found.is) {
    case 'measured': return found.outcome.strange || found.outcome.asks !== undefined
      ? next(mark({ stands: 'in doubt', says: found.outcome.says, outcome: found.outcome }))
      : kept(after, slot, found.outcome)
    case 'nothing seen': return next(mark({ stands: 'nothing seen', says: 'it is open, or not there' }))
    case 'not still':
      return next(mark({ stands: 'not still', says: 'it does not lie still: a poor contact' }))
    case 'failed': return next(mark({ stands: 'not still', says: found.says }))
    case 'standard': return still(state)
  }
}

const toneOf = { accept: 'good', marginal: 'unsure', reject: 'bad', 'cannot tell': 'unsure' } as const

/** On record, told, and then what `goOn` makes of it. */
export function kept(
  state: TrayState, slot: SlotState, outcome: Outcome, goOn: (state: TrayState) => TrayStep = next,
): TrayStep {
  const { id, says, grade } = outcome
  const since = state.since.includes(id) ? state.since : [...state.since, id]
  const slots = withSlot(state, slot.position, { stands: 'through', says, grade, outcome: null })
  return before(goOn({ ...state, slots, since }),
    { do: 'keep', outcome }, tell(toneOf[grade], `${slot.position} ${says}`, id))
}

function standard(
  mark: (over: Partial<SlotState>) => TrayState, slot: SlotState, found: SeenAt,
): TrayStep {
  const at = `standard ${slot.id} at ${slot.position}`
  if (found.is === 'standard' && found.inControl) {
    return before(next(mark({ stands: 'through', says: found.says })),
      tell('good', `${slot.position} ${found.says}`, slot.id))
  }
  const says = found.is === 'standard' || found.is === 'failed' ? `${slot.position} ${found.says}`
    : found.is === 'nothing seen' ? `${at} is not seen` : `${at} does not lie still`
  const state = mark({ stands: 'to lay', says })
  const flag: TrayEffect = { do: 'flag', ids: state.since, why: `${slot.id} was out of control after it` }
  const text = `${says}. Nothing is graded until the cause is mended: then say adjusted`
  return {
    state: { ...state, phase: 'out of control', queue: [], since: [], slots: reset(state, state.since) },
    effects: [...state.since.length > 0 ? [flag] : [], tell('attention', text, slot.id)],
  }
}

/** All was measured: what was found and what to take out; on, where nothing is in question. */
export function through(state: TrayState): TrayStep {
  const stage = stageOf(state)
  if (stage?.is !== 'parts') return still({ ...state, phase: 'asked' })
  const text = summaryOf(state.slots, stage)
  const isOpen = state.slots.some(asks)
  const says: TrayEffect[] = [
    { do: 'sum up', text, slots: state.slots }, tell(isOpen ? 'attention' : 'good', text, 'tray'),
  ]
  if (isOpen) return { state: { ...state, phase: 'review' }, effects: says }
  return before(enter({ ...state, at: state.at + 1 }), ...says)
}
