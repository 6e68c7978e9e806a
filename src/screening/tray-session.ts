/**
 * A session at a tray as a pure step machine: (state, input) → (state, effects). The tray is seen empty,
 * which shows that each channel closes alone; a person lays parts and says so once; then one position after
 * the other is measured and told, with all channels seen to be open before the first and after each. At the
 * end of a laying it is said what to take out and from where, and what a person must look at. Standards are
 * read before and after the parts of each laying. What was graded since the channels were last seen to be
 * sound is flagged where they are not; while they are not nothing is graded.
 */
import type { Deed } from '../schema/screening.ts'
import { ended, enter, kept, laid, next, seen, stuck, through, zeroed } from './tray-measuring.ts'
import {
  asks, before, refuse, stageOf, still, tell, withSlot, type SlotState, type StageSlot, type Task,
  type TrayInput, type TrayStage, type TrayState, type TrayStep,
} from './tray-state.ts'

export function beginTray(stages: readonly TrayStage[]): TrayStep {
  return enter({
    stages, at: 0, phase: 'asked', slots: [], queue: [], paused: false, ending: false, since: [],
  })
}

export function stepTray(state: TrayState, input: TrayInput): TrayStep {
  switch (input.type) {
    case 'person': return deed(state, input.does, input.at)
    case 'zeroed': return zeroed(state, input)
    case 'open': return state.phase === 'working' && state.queue[0] === 'open'
      ? input.stuck === null ? next({ ...state, queue: state.queue.slice(1) }) : stuck(state, input.stuck)
      : still(state)
    case 'seen': return seen(state, input)
  }
}

// ---- what a person does ----

function deed(state: TrayState, does: Deed, at?: string): TrayStep {
  if (state.phase === 'done') return refuse(state, 'the tray is through')
  switch (does) {
    case 'end':
      return state.phase === 'working' && !state.paused ? still({ ...state, ending: true }) : ended(state)
    case 'pause': return still({ ...state, paused: true })
    case 'resume': return state.phase === 'working' && state.paused
      ? next({ ...state, paused: false }) : still({ ...state, paused: false })
    case 'adjusted': return adjusted(state)
    case 'laid': return isUnsound(state) ?? laid(state)
    case 'undo': return refuse(state, 'say again with the position: its result is taken back')
    case 'measure': return isUnsound(state) ?? measure(state, at)
    case 'again': case 'keep': case 'skip': case 'second opinion': case 'plus at 1': case 'plus at 2':
      return isUnsound(state) ?? atPosition(state, does, at)
  }
}

const isUnsound = (state: TrayState): TrayStep | null =>
  state.phase === 'faulty' || state.phase === 'out of control'
    ? refuse(state, 'mend the cause, then say that it is adjusted') : null

/** Channels are proven anew before the laying goes on; a standard is read anew with what is still open. */
function adjusted(state: TrayState): TrayStep {
  if (state.phase === 'out of control') {
    const asked = { ...state, phase: 'asked' as const }
    return { state: asked, effects: [tell('ask', 'lay it again as it was, then say laid', 'tray')] }
  }
  if (state.phase !== 'faulty') return refuse(state, 'nothing is out of control')
  const stage = stageOf(state)
  if (stage?.is !== 'parts') return enter(state)
  const slots = state.slots.map(({ position, what, id, stands }): StageSlot =>
    ({
      position, id, what: what === 'standard' ? what : 'part',
      done: what === 'part' && (stands === 'through' || stands === 'as before'),
    }))
  const stages = [...state.stages]
  stages.splice(state.at, 1, { is: 'empty tray' }, { ...stage, slots })
  return enter({ ...state, stages })
}

/** Without a position a person says that the tray is empty; with one it is measured, seen or not. */
function measure(state: TrayState, at?: string): TrayStep {
  const stage = stageOf(state)
  if (at === undefined && state.phase === 'asked' && stage?.is === 'empty tray') {
    return { state, effects: [{ do: 'zero', stage }] }
  }
  return atPosition(state, 'measure', at)
}

type PositionDeed = 'again' | 'keep' | 'skip' | 'second opinion' | 'plus at 1' | 'plus at 2' | 'measure'

function atPosition(state: TrayState, does: PositionDeed, at?: string): TrayStep {
  if (state.phase === 'working') return refuse(state, 'the tray is being measured')
  const open = state.slots.filter(asks)
  if (does === 'skip' && at === undefined && open.length > 0) {
    return settled({ ...state, slots: putOff(state, open) })
  }
  const slot = at === undefined ? (open.length === 1 ? open[0] : undefined)
    : state.slots.find(({ position }) => position === at)
  if (!slot) return refuse(state, at === undefined ? 'say at which position' : `nothing was laid at ${at}`)
  if (slot.what === 'standard') return refuse(state, 'a check standard lies there')
  switch (does) {
    case 'keep': return slot.outcome === null ? refuse(state, `nothing is in doubt at ${slot.position}`)
      : kept(state, slot, slot.outcome, settled)
    case 'skip': return asks(slot) ? settled({ ...state, slots: putOff(state, [slot]) })
      : refuse(state, `${slot.id} has its result already`)
    case 'second opinion': return slot.grade === null ? refuse(state, 'there is no first result yet')
      : once(state, { position: slot.position, forced: false, opinion: 'second' })
    case 'again': return again(state, slot, false)
    case 'measure': return again(state, slot, true)
    case 'plus at 1': case 'plus at 2': return slot.outcome?.asks === undefined
      ? refuse(state, 'nobody asked which end is plus')
      : once(state, {
          position: slot.position, forced: true, opinion: 'first', plusAt: does === 'plus at 1' ? 1 : 2,
        })
  }
}

const putOff = (state: TrayState, which: readonly SlotState[]): SlotState[] => state.slots.map(slot =>
  which.includes(slot) ? { ...slot, stands: 'put off', outcome: null } : slot)

/** Measures what lies there anew, and takes back a result that stands. */
function again(state: TrayState, slot: SlotState, forced: boolean): TrayStep {
  if (slot.stands === 'to lay' || slot.stands === 'as before') {
    return refuse(state, `${slot.id} was not measured in this session yet`)
  }
  const step = once({
    ...state, since: state.since.filter(id => id !== slot.id),
    slots: withSlot(state, slot.position, { grade: null, outcome: null }),
  }, { position: slot.position, forced, opinion: 'first' })
  return slot.grade === null ? step : before(step, { do: 'withdraw', id: slot.id })
}

/** A single one, with all channels seen open before it. */
function once(state: TrayState, task: Task): TrayStep {
  const stage = stageOf(state)
  // The tray was to be cleared: back to the laying that lies there yet.
  const at = stage?.is === 'parts' ? state.at
    : state.stages.findLastIndex(({ is }, i) => i < state.at && is === 'parts')
  return next({ ...state, at, phase: 'working', queue: ['open', task] })
}

/** Nothing is measured: where nothing is in question any more the laying is through. */
const settled = (state: TrayState): TrayStep =>
  state.slots.some(asks) ? still({ ...state, phase: 'review' }) : through(state)
