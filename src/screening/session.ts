/**
 * A screening session as a pure step machine: (state, input) → (state, effects). Both hands are on the
 * parts: the session asks for a part, waits until it lies still, has it measured, tells the outcome, sees
 * it go and asks for the next. What compensates the jig comes before all. Check standards come at the start,
 * after every so many parts and at the end; while one is out of control nothing is graded, and what was
 * graded since all were last in control is flagged.
 */
import type { Deed, Tone } from '../schema/screening.ts'
import { emptyJig, seeContact, unknownJig, type Contact, type ContactRule, type Look } from './contact.ts'

export type { Deed, Tone } from '../schema/screening.ts'

/** What the jig is compensated by. */
export const zeroNames = ['empty jig', 'shorting wire'] as const
export type ZeroName = (typeof zeroNames)[number]

/** What is asked for: a part of the list, a check standard, or what the jig is compensated by. */
export interface Asked {
  readonly what: 'part' | 'standard' | ZeroName
  readonly id: string
  readonly contact: ContactRule
}

export interface SessionPlan {
  /** In the order in which they are asked for. */
  readonly parts: readonly Asked[]
  readonly standards: readonly Asked[]
  /** Standards are asked for again after so many parts. */
  readonly standardsEvery: number
  /** What compensates the jig: in order, before anything else. */
  readonly zeros?: readonly Asked[]
}

/** How a measured part compares with what was asked for; it is the measuring side that says so. */
export interface Outcome {
  readonly id: string
  readonly grade: 'accept' | 'marginal' | 'reject' | 'cannot tell'
  /** One sentence for screen and voice. */
  readonly says: string
  /** It is so far from what was asked for that another part may lie in the jig. */
  readonly strange: boolean
  /** Another part of the list that it looks like. */
  readonly looksLike: string | null
  /** A question to the person, who alone can say it. */
  readonly asks?: string
}

/** `clearing`: whatever lies in the jig is not what is asked for; it must be seen to go. */
export type Phase = 'clearing' | 'asking' | 'measuring' | 'leaving'

interface AtJig { readonly asked: Asked; readonly contact: Contact }
/** `forced`: a person had it measured, whatever the jig showed. */
export interface AskedMode extends AtJig {
  readonly is: 'asked'
  readonly phase: Phase
  readonly forced: boolean
}
/** What lies in the jig is not what was asked for, or is gravely wrong: a person says which. */
export interface DoubtMode extends AtJig { readonly is: 'in doubt'; readonly outcome: Outcome }
export type Mode =
  | AskedMode | DoubtMode
  | { readonly is: 'out of control'; readonly standard: string } | { readonly is: 'done' }

export interface SessionState {
  readonly plan: SessionPlan
  readonly mode: Mode
  readonly paused: boolean
  /** A person ended it while a part was measured, and may be charged: it ends after that part. */
  readonly ending: boolean
  /** Index of the next part of the plan that was not asked for yet. */
  readonly next: number
  /** Parts that were put off, in order; they come again when the plan is through. */
  readonly later: readonly Asked[]
  /** Parts that come before the plan goes on: another was asked for again instead. */
  readonly sooner: readonly Asked[]
  /** What compensates the jig and standards that are due before the next part. */
  readonly due: readonly Asked[]
  /** Graded since all standards were last in control. */
  readonly since: readonly string[]
  /** The last parts with a result, newest last: what may be taken back. */
  readonly recent: readonly Asked[]
}

export type SessionInput =
  | { readonly type: 'look'; readonly look: Look }
  | { readonly type: 'measured'; readonly outcome: Outcome }
  | { readonly type: 'standard'; readonly id: string; readonly inControl: boolean; readonly says: string }
  /** The empty jig or the wire was measured; not `ok`: it was something else. `warns`: a person looks. */
  | {
      readonly type: 'zeroed'; readonly id: string; readonly ok: boolean; readonly says: string
      readonly warns?: boolean
    }
  /** The instruments could not measure: nothing is known of the part. */
  | { readonly type: 'failed'; readonly says: string }
  | { readonly type: 'person'; readonly does: Deed }

export type SessionEffect =
  | {
      readonly do: 'measure'; readonly asked: Asked; readonly opinion: 'first' | 'second'
      /** Which end is plus, where a person said so. */
      readonly plusAt?: 1 | 2
    }
  | { readonly do: 'keep'; readonly outcome: Outcome }
  | { readonly do: 'withdraw'; readonly id: string }
  | { readonly do: 'flag'; readonly ids: readonly string[]; readonly standard: string }
  /** `about`: the part or standard that it is said of, which need not be what is asked for next. */
  | { readonly do: 'tell'; readonly tone: Tone; readonly text: string; readonly about: string }
  | { readonly do: 'refuse'; readonly why: string }
  | { readonly do: 'end' }

export interface SessionStep { readonly state: SessionState; readonly effects: readonly SessionEffect[] }

/** So many results can be taken back. */
const recentMost = 20
const nothing: readonly SessionEffect[] = []

/**
 * Where a session begins, or goes on after an interruption: `settled` are parts that have a result on
 * record, `putOff` those that were skipped. Standards always come first: nobody knows what happened
 * meanwhile.
 */
export function beginSession(
  plan: SessionPlan, settled: ReadonlySet<string> = new Set(), putOff: ReadonlySet<string> = new Set(),
): SessionStep {
  const open = plan.parts.filter(({ id }) => !settled.has(id))
  return askNext({
    plan: { ...plan, parts: open.filter(({ id }) => !putOff.has(id)) }, mode: { is: 'done' }, paused: false,
    ending: false, next: 0, later: open.filter(({ id }) => putOff.has(id)), sooner: [], since: [], recent: [],
    due: open.length > 0 ? [...plan.zeros ?? [], ...plan.standards] : [],
  }, unknownJig)
}

export function stepSession(state: SessionState, input: SessionInput): SessionStep {
  if (input.type === 'person') return deed(state, input.does)
  const { mode } = state
  if (mode.is === 'done' || mode.is === 'out of control') return { state, effects: nothing }
  if (input.type === 'look') return look(state, mode, input.look)
  if (mode.is !== 'asked' || mode.phase !== 'measuring') return { state, effects: nothing }
  switch (input.type) {
    case 'measured': return measured(state, mode, input.outcome)
    case 'standard': return standard(state, mode, input)
    case 'zeroed': return zeroed(state, mode, input)
    case 'failed': return clear(state, mode, input.says)
  }
}

function look(state: SessionState, mode: AskedMode | DoubtMode, seen: Look): SessionStep {
  const contact = seeContact(mode.contact, seen, mode.asked.contact)
  const watched: SessionState = { ...state, mode: { ...mode, contact } }
  const phase = mode.is === 'asked' ? mode.phase : null
  if (mode.asked.what === 'empty jig') return lookAtEmpty(watched, { asked: mode.asked, contact }, phase)
  if (contact.is === 'empty' && phase === 'leaving') return askNext(watched, contact)
  if (contact.is === 'empty' && phase === 'clearing') return ask(watched, mode.asked, contact)
  if (contact.is === 'still' && phase === 'asking' && !state.paused) {
    return measure(watched, { asked: mode.asked, contact }, 'first')
  }
  return { state: watched, effects: nothing }
}

/** Measured as soon as it is seen empty; where that went wrong, once something has come and gone. */
function lookAtEmpty(state: SessionState, at: AtJig, phase: Phase | null): SessionStep {
  const isEmpty = at.contact.is === 'empty'
  if (phase === 'clearing' && isEmpty && !state.paused) return measure(state, at, 'first')
  if (phase !== 'asking' || isEmpty) return { state, effects: nothing }
  const mode: AskedMode = { is: 'asked', ...at, phase: 'clearing', forced: false }
  return { state: { ...state, mode }, effects: nothing }
}

const measure = (
  state: SessionState, { asked, contact }: AtJig, opinion: 'first' | 'second', forced = false,
  told: { plusAt?: 1 | 2 } = {},
): SessionStep => ({
  state: { ...state, mode: { is: 'asked', asked, phase: 'measuring', contact, forced } },
  effects: [{ do: 'measure', asked, opinion, ...told }],
})

function measured(state: SessionState, mode: AskedMode, outcome: Outcome): SessionStep {
  if (mode.asked.what !== 'part' || mode.asked.id !== outcome.id) return { state, effects: nothing }
  if (mode.contact.is === 'empty' && !mode.forced) {
    return clear(state, mode, `${outcome.id} left the jig while it was measured`)
  }
  if (!outcome.strange && outcome.asks === undefined) return kept(state, mode, outcome)
  const other = outcome.looksLike === null ? '' : `, or ${outcome.looksLike}`
  const text = `${outcome.says}. ${outcome.asks ?? `Is this ${mode.asked.id}${other}? Keep, again or skip`}`
  return {
    state: { ...state, mode: { is: 'in doubt', asked: mode.asked, contact: mode.contact, outcome } },
    effects: [{ do: 'tell', tone: 'attention', text, about: outcome.id }],
  }
}

const toneOf = { accept: 'good', marginal: 'unsure', reject: 'bad', 'cannot tell': 'unsure' } as const

function kept(state: SessionState, { asked, contact }: AtJig, outcome: Outcome): SessionStep {
  const { standards, standardsEvery } = state.plan
  // Without standards nothing is ever flagged, and a long session would only carry the names along.
  const isKept = standards.length === 0 || state.since.includes(outcome.id)
  const since = isKept ? state.since : [...state.since, outcome.id]
  const due = since.length >= standardsEvery ? standards : state.due
  const recent = [...state.recent.filter(({ id }) => id !== asked.id), asked].slice(-recentMost)
  return unlessEnding({
    state: { ...state, mode: leaving({ asked, contact }), since, due, recent },
    effects: [{ do: 'keep', outcome }, tell(toneOf[outcome.grade], outcome.says, asked)],
  })
}

const leaving = ({ asked, contact }: AtJig): Mode =>
  ({ is: 'asked', asked, phase: 'leaving', contact, forced: false })

function standard(
  state: SessionState, mode: AskedMode, { id, inControl, says }: SessionInput & { type: 'standard' },
): SessionStep {
  if (mode.asked.what !== 'standard' || mode.asked.id !== id) return { state, effects: nothing }
  if (!inControl) return outOfControl(state, id, says)
  const due = state.due.filter(one => one.id !== id)
  return unlessEnding({
    state: { ...state, due, since: due.length === 0 ? [] : state.since, mode: leaving(mode) },
    effects: [tell('good', says, mode.asked)],
  })
}

function zeroed(
  state: SessionState, mode: AskedMode, { id, ok, says, warns = false }: SessionInput & { type: 'zeroed' },
): SessionStep {
  const { asked, contact, forced } = mode
  const isZero = asked.what !== 'part' && asked.what !== 'standard'
  if (!isZero || asked.id !== id) return { state, effects: nothing }
  const isEmptied = asked.what === 'empty jig'
  if (!forced && (contact.is === 'empty') !== isEmptied) {
    return clear(state, mode, isEmptied ? 'something came into the jig while it was measured empty'
      : 'the shorting wire left the jig while it was measured')
  }
  if (!ok) return clear(state, mode, says)
  const effects = [tell(warns ? 'attention' : 'good', says, asked)]
  const through = { ...state, due: state.due.filter(one => one.what !== asked.what) }
  if (state.ending || !isEmptied) return unlessEnding({ state: { ...through, mode: leaving(mode) }, effects })
  const next = askNext(through, emptyJig)
  return { state: next.state, effects: [...effects, ...next.effects] }
}

function outOfControl(state: SessionState, id: string, says: string): SessionStep {
  const flag: SessionEffect = { do: 'flag', ids: state.since, standard: id }
  const text = `${says}. Nothing is graded until the cause is mended`
  return unlessEnding({
    state: { ...state, since: [], recent: [], mode: { is: 'out of control', standard: id } },
    effects: [
      ...state.since.length === 0 ? [] : [flag], { do: 'tell', tone: 'attention', text, about: id },
    ],
  })
}

/** What was in hand when a person ended the session is through, and empty: nothing comes after it. */
const unlessEnding = ({ state, effects }: SessionStep): SessionStep =>
  state.ending ? ended(state, effects) : { state, effects }

const ended = (state: SessionState, before = nothing): SessionStep =>
  ({ state: { ...state, mode: { is: 'done' } }, effects: [...before, { do: 'end' }] })

/** The same one must leave and come back: what lies in the jig now would only fail again. */
function clear(state: SessionState, { asked, contact }: AtJig, says: string): SessionStep {
  const isUnseen = asked.what === 'empty jig' && contact.is === 'empty' && !state.ending
  const step = isUnseen ? waitForPerson(state, asked) : ask(state, asked, contact)
  return { state: step.state, effects: [tell('attention', says, asked), ...step.effects] }
}

/** The jig looks empty, and is not fit to be measured: looking again would only say the same. */
const waitForPerson = (state: SessionState, asked: Asked): SessionStep => ({
  state: { ...state, mode: { is: 'asked', asked, phase: 'asking', contact: emptyJig, forced: false } },
  effects: nothing,
})

/** Asks for this one; whatever lies in the jig must be seen to go first. */
function ask(state: SessionState, asked: Asked, contact: Contact): SessionStep {
  if (state.ending) return ended(state)
  const phase = contact.is === 'empty' && asked.what !== 'empty jig' ? 'asking' : 'clearing'
  const mode: AskedMode = { is: 'asked', asked, phase, contact, forced: false }
  const isTold = isCalled(mode) && !state.paused
  return { state: { ...state, mode }, effects: isTold ? [tellAsked(asked)] : nothing }
}

/** Its name is said: once the jig is empty, or where it is to become so. */
const isCalled = ({ phase, asked }: AskedMode): boolean => phase === 'asking' || asked.what === 'empty jig'

const tell = (tone: Tone, text: string, { id }: Asked): SessionEffect =>
  ({ do: 'tell', tone, text, about: id })

const tellAsked = (asked: Asked): SessionEffect => tell('ask', nameOf(asked), asked)

function nameOf({ what, id }: Asked): string {
  switch (what) {
    case 'part': return id
    case 'standard': return `standard ${id}`
    case 'empty jig': return 'leave the jig empty'
    case 'shorting wire': return 'the shorting wire across 1 and 2'
  }
}

/** Standards that are due, what waits, the plan, what was put off, and the standards of the end. */
function askNext(state: SessionState, contact: Contact): SessionStep {
  const [due] = state.due
  if (due) return ask(state, due, contact)
  const [waiting, ...sooner] = state.sooner
  if (waiting) return ask({ ...state, sooner }, waiting, contact)
  const planned = state.plan.parts[state.next]
  if (planned) return ask({ ...state, next: state.next + 1 }, planned, contact)
  const [putOff, ...later] = state.later
  if (putOff) return ask({ ...state, later }, putOff, contact)
  const [last] = state.plan.standards
  if (last && state.since.length > 0) return ask({ ...state, due: state.plan.standards }, last, contact)
  return ended(state)
}

// ---- what a person does ----

function deed(state: SessionState, does: Deed): SessionStep {
  const { mode } = state
  if (mode.is === 'done') return refuse(state, 'the session is at its end')
  if (does === 'end') return end(state)
  if (does === 'pause') return { state: { ...state, paused: true }, effects: nothing }
  if (does === 'resume') return resume(state)
  if (mode.is === 'out of control') {
    return does === 'adjusted' ? askNext({ ...state, due: state.plan.standards }, unknownJig)
      : refuse(state, `${mode.standard} is out of control: mend the cause, then say that it is adjusted`)
  }
  switch (does) {
    case 'skip': return skip(state, mode)
    case 'undo': return undo(state, mode)
    case 'keep': return mode.is === 'in doubt'
      ? kept(state, mode, mode.outcome) : refuse(state, 'nothing is in doubt')
    case 'measure': return mode.is === 'asked' && (mode.phase === 'asking' || mode.phase === 'clearing')
      ? measure(state, mode, 'first', true) : refuse(state, 'nothing is asked for now')
    case 'again': return again(state, mode)
    case 'second opinion': return secondOpinion(state, mode)
    case 'adjusted': return refuse(state, 'no standard is out of control')
    case 'plus at 1': return plusAt(state, mode, 1)
    case 'plus at 2': return plusAt(state, mode, 2)
    case 'laid': return refuse(state, 'no tray is asked for')
  }
}

/** A part that is measured may be charged: hands leave it where it is until it is through. */
const end = (state: SessionState): SessionStep =>
  isMeasuring(state.mode) ? { state: { ...state, ending: true }, effects: nothing } : ended(state)

export const isMeasuring = (mode: Mode): boolean => mode.is === 'asked' && mode.phase === 'measuring'

const refuse = (state: SessionState, why: string): SessionStep =>
  ({ state, effects: [{ do: 'refuse', why }] })

function resume(state: SessionState): SessionStep {
  const { mode } = state
  const asks = mode.is === 'asked' && isCalled(mode) && !isMeasuring(mode) && state.paused
  return { state: { ...state, paused: false }, effects: asks ? [tellAsked(mode.asked)] : nothing }
}

const stands = (mode: AskedMode | DoubtMode): boolean =>
  mode.is === 'asked' && mode.phase === 'leaving' && mode.asked.what === 'part'

/** Measures what lies in the jig anew, and takes back the result that stands. */
function again(state: SessionState, mode: AskedMode | DoubtMode): SessionStep {
  if (mode.is === 'in doubt') return measure(state, mode, 'first', true)
  if (!stands(mode)) return refuse(state, 'there is no result to measure again')
  const step = measure(forgotten(state, mode.asked), mode, 'first')
  return { state: step.state, effects: [{ do: 'withdraw', id: mode.asked.id }, ...step.effects] }
}

/** Only where it was asked: what a person says is believed, and charges the part that way round. */
const plusAt = (state: SessionState, mode: AskedMode | DoubtMode, end: 1 | 2): SessionStep =>
  mode.is === 'in doubt' && mode.outcome.asks !== undefined
    ? measure(state, mode, 'first', true, { plusAt: end }) : refuse(state, 'nobody asked which end is plus')

const secondOpinion = (state: SessionState, mode: AskedMode | DoubtMode): SessionStep =>
  stands(mode) ? measure(state, mode, 'second') : refuse(state, 'there is no first result yet')

function skip(state: SessionState, mode: AskedMode | DoubtMode): SessionStep {
  const { what } = mode.asked
  if (what === 'standard') return refuse(state, 'a check standard is not skipped')
  if (what !== 'part') return refuse(state, `the ${what} is not skipped: the session is to be compensated`)
  if (isMeasuring(mode)) return refuse(state, 'it is being measured')
  if (stands(mode)) return refuse(state, `${mode.asked.id} has its result already`)
  return askNext({ ...state, later: [...state.later, mode.asked] }, mode.contact)
}

function undo(state: SessionState, mode: AskedMode | DoubtMode): SessionStep {
  const last = state.recent.at(-1)
  if (!last) return refuse(state, 'there is no result to take back')
  if (isMeasuring(mode)) return refuse(state, 'a measurement is under way')
  const waits = mode.asked.what === 'part' && mode.asked.id !== last.id
  const sooner = waits ? [mode.asked, ...state.sooner] : state.sooner
  const step = ask({ ...forgotten(state, last), sooner }, last, mode.contact)
  return { state: step.state, effects: [{ do: 'withdraw', id: last.id }, ...step.effects] }
}

const forgotten = (state: SessionState, { id }: Asked): SessionState => ({
  ...state, since: state.since.filter(one => one !== id),
  recent: state.recent.filter(one => one.id !== id),
})
