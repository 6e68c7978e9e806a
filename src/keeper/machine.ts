/**
 * The keeper as a pure step machine: (state, input, now) → (state, effects). It has no timer and no link. The
 * host feeds it everything that happens, and does what it says; so virtual nights and the process run the
 * same rules.
 */
import type { ErrorCode } from '../base/errors.ts'
import type { SafeOffReport } from '../schema/application.ts'
import {
  asks, emptyTable, energisingPart, mayFollow, tableCommands, type SafeOffTable,
} from './table.ts'

export type KeeperMode = 'idle' | 'armed' | 'safing' | 'safe'

export interface KeeperState {
  readonly mode: KeeperMode
  /** A table was given. Before that it only asks. */
  readonly configured: boolean
  readonly table: SafeOffTable
  /** Lines of the table by link. Its keys are the energy links. */
  readonly allowed: ReadonlyMap<string, ReadonlySet<string>>
  readonly beatLimitMs: number
  readonly lastBeatMs: number
  /**
   * Links whose contact was last told to be closed, since arming. An open one would only refuse a refresh.
   */
  readonly toldClosed: ReadonlySet<string>
}

export type KeeperInput =
  | { type: 'configure'; table: SafeOffTable; firstSafeOff: boolean }
  | { type: 'arm'; table: SafeOffTable; beatLimitMs: number }
  | { type: 'beat'; fresh: boolean }
  | { type: 'disarm' }
  | { type: 'reset' }
  | { type: 'exchange'; link: string; kind: 'query' | 'write'; command: string }
  /** Time has passed. Lateness is judged on every input; this one only makes sure that there is one. */
  | { type: 'tick' }
  /** The bench's clock says that the contactor on this link wants its line. */
  | { type: 'refresh-due'; link: string }
  | { type: 'daemon-gone' }
  | { type: 'malformed'; what: string }
  | { type: 'stop'; by: string; reason: string }
  | { type: 'link-lost'; link: string }
  | { type: 'safe-off-done'; report: SafeOffReport }

export type KeeperEffect =
  /** Carry out the exchange, or whatever else was asked. */
  | { do: 'accept' }
  | { do: 'refuse'; code: ErrorCode; why: string }
  | { do: 'refresh'; link: string; command: string }
  | { do: 'safe-off'; reason: string; table: SafeOffTable }
  | { do: 'mode'; mode: KeeperMode }

export interface Step { state: KeeperState; effects: readonly KeeperEffect[] }

export const initialKeeper: KeeperState = {
  mode: 'idle', configured: false, table: emptyTable, allowed: new Map(), beatLimitMs: Infinity,
  lastBeatMs: 0, toldClosed: new Set(),
}

/** Monotonic ms at which the host must feed a `tick`, or null while nothing is watched. */
export const beatDueMs = (state: KeeperState): number | null =>
  state.mode === 'armed' ? state.lastBeatMs + state.beatLimitMs : null

/**
 * One step. A beat that is late by `now` trips before the input itself is looked at: no late beat feeds, and
 * no exchange slips through between the lateness and its tick.
 */
export function stepKeeper(state: KeeperState, input: KeeperInput, nowMs: number): Step {
  if (state.mode !== 'armed' || nowMs - state.lastBeatMs < state.beatLimitMs) {
    return handle(state, input, nowMs)
  }
  const tripped = safe(state, `no fresh heartbeat for ${Math.round(nowMs - state.lastBeatMs)} ms`)
  if (input.type === 'safe-off-done') return tripped
  const after = handle(tripped.state, input, nowMs)
  return { state: after.state, effects: [...tripped.effects, ...after.effects] }
}

const acceptOnly: readonly KeeperEffect[] = [{ do: 'accept' }]
const none: readonly KeeperEffect[] = []

function handle(state: KeeperState, input: KeeperInput, nowMs: number): Step {
  switch (input.type) {
    case 'exchange': return exchange(state, input)
    case 'beat': return beat(state, input.fresh, nowMs)
    case 'tick': return { state, effects: none }
    case 'refresh-due': return refreshDue(state, input.link)
    case 'configure': return configure(state, input)
    case 'arm': return arm(state, input, nowMs)
    case 'disarm': return state.mode === 'armed' ? enter(state, 'idle') : { state, effects: acceptOnly }
    case 'reset': return reset(state)
    case 'daemon-gone': return safe(state, 'the daemon is gone')
    case 'malformed': return safe(state, `malformed message: ${input.what}`)
    case 'stop': return safe(state, `${input.reason} (${input.by})`)
    case 'link-lost': return linkLost(state, input.link)
    case 'safe-off-done':
      return state.mode === 'safing'
        ? { state: { ...state, mode: 'safe' }, effects: [{ do: 'mode', mode: 'safe' }] }
        : { state, effects: none }
  }
}

function exchange(state: KeeperState, input: KeeperInput & { type: 'exchange' }): Step {
  if (state.mode === 'armed') return { state: followContact(state, input), effects: acceptOnly }
  if (state.mode === 'idle') return unarmed(state, input)
  const harmless = input.kind === 'query'
    ? isPureQuery(input.command)
    : state.allowed.get(input.link)?.has(input.command) === true
      || state.mode === 'safe' && mayFollow(state.table, input.link, input.command)
  if (harmless) return { state, effects: acceptOnly }
  return refuse(
    state, 'TRIPPED', `\`${input.command}\` is not sent to ${input.link} until the stop is acknowledged`
  )
}

/** What a line to a hold-in contactor tells its contact to be. */
function followContact(
  state: KeeperState, { link, kind, command }: KeeperInput & { type: 'exchange' },
): KeeperState {
  if (kind !== 'write' || !state.table.refreshes.some(refresh => refresh.link === link)) return state
  const others = [...state.toldClosed].filter(other => other !== link)
  if (energisingPart(state.table, link, command) !== null) {
    return { ...state, toldClosed: new Set([...others, link]) }
  }
  return state.allowed.get(link)?.has(command) === true ? { ...state, toldClosed: new Set(others) } : state
}

/** Set-up passes, and so does what asks or stands in the table; what can put energy on does not. */
function unarmed(state: KeeperState, { link, command }: KeeperInput & { type: 'exchange' }): Step {
  if (state.allowed.get(link)?.has(command) === true) return { state, effects: acceptOnly }
  const why = `\`${command}\` is not sent to ${link}`
  if (!state.configured) {
    if (isPureQuery(command)) return { state, effects: acceptOnly }
    return refuse(state, 'REFUSED', `${why} before the keeper has its safe-off table`)
  }
  if (energisingPart(state.table, link, command) === null) return { state, effects: acceptOnly }
  return refuse(state, 'REFUSED', `${why} while the keeper is not armed`)
}

/**
 * True when every part of a line asks and none commands: `OUTP ON;VOLT?` is no query. Quotes get no special
 * care.
 */
export function isPureQuery(command: string): boolean {
  if (/[\r\n]/.test(command)) return false
  return command.split(';').every(asks)
}

function beat(state: KeeperState, fresh: boolean, nowMs: number): Step {
  if (!fresh || state.mode !== 'armed') return { state, effects: none }
  return { state: { ...state, lastBeatMs: nowMs }, effects: none }
}

function refreshDue(state: KeeperState, link: string): Step {
  const refresh = state.table.refreshes.find(one => one.link === link)
  if (state.mode !== 'armed' || refresh === undefined || !state.toldClosed.has(link)) {
    return { state, effects: none }
  }
  return { state, effects: [{ do: 'refresh', link, command: refresh.command }] }
}

function configure(state: KeeperState, input: KeeperInput & { type: 'configure' }): Step {
  if (state.mode !== 'idle') {
    return refuse(state, 'REFUSED', `the keeper is ${state.mode}; it is configured while idle`)
  }
  const next = withTable(state, input.table)
  if (!input.firstSafeOff) return { state: next, effects: acceptOnly }
  const made = safe(next, 'a new keeper starts by making the bench safe')
  return { state: made.state, effects: [...acceptOnly, ...made.effects] }
}

function arm(state: KeeperState, input: KeeperInput & { type: 'arm' }, nowMs: number): Step {
  if (state.mode === 'armed') return refuse(state, 'REFUSED', 'the keeper is armed already')
  if (state.mode !== 'idle') {
    return refuse(state, 'TRIPPED', `the keeper is ${state.mode}; acknowledge before arming`)
  }
  if (!(input.beatLimitMs > 0 && input.beatLimitMs < Infinity)) {
    return refuse(state, 'REFUSED', `a heartbeat limit of ${input.beatLimitMs} ms watches nothing`)
  }
  const armed = enter(withTable(state, input.table), 'armed')
  return {
    state: { ...armed.state, beatLimitMs: input.beatLimitMs, lastBeatMs: nowMs, toldClosed: new Set() },
    effects: armed.effects,
  }
}

function reset(state: KeeperState): Step {
  if (state.mode === 'idle') return { state, effects: acceptOnly }
  if (state.mode === 'safe') return enter(state, 'idle')
  return refuse(
    state, 'REFUSED', `the keeper is ${state.mode}; it is acknowledged once the bench was made safe`
  )
}

function linkLost(state: KeeperState, link: string): Step {
  if (state.mode !== 'armed' || !state.allowed.has(link)) return { state, effects: none }
  return safe(state, `the link to ${link} is lost`)
}

/**
 * Starts a safe-off, unless one is under way. Asking again once it is done does it again: that harms nothing.
 */
function safe(state: KeeperState, reason: string): Step {
  if (state.mode === 'safing') return { state, effects: none }
  return {
    state: { ...state, mode: 'safing' },
    effects: [{ do: 'safe-off', reason, table: state.table }, { do: 'mode', mode: 'safing' }],
  }
}

const withTable = (state: KeeperState, table: SafeOffTable): KeeperState =>
  ({ ...state, configured: true, table, allowed: tableCommands(table) })
const enter = (state: KeeperState, mode: KeeperMode): Step =>
  ({ state: { ...state, mode }, effects: [{ do: 'accept' }, { do: 'mode', mode }] })
const refuse = (state: KeeperState, code: ErrorCode, why: string): Step =>
  ({ state, effects: [{ do: 'refuse', code, why }] })
