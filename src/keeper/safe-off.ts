/**
 * Carries a safe-off table out: every phase blind on all its links at once, then what can be read back is
 * read back.
 */
import { sleep, type Clock } from '../base/clock.ts'
import { withDeadline } from '../base/deadline.ts'
import { asBenchError, type BenchError } from '../base/errors.ts'
import type { SafeOffReport } from '../schema/application.ts'
import type { SafeOffStep } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { parseReading } from '../scpi/values.ts'
import type { SafeOffTable } from './table.ts'

/** What the keeper needs of a session; `Session` of src/scpi gives it. */
export interface KeeperSession {
  readonly state: string
  connect(): Promise<void>
  close(): Promise<void>
  query: ScpiPort['query']
  write: ScpiPort['write']
  safeOff(commands: readonly string[]): Promise<BlindReport>
}

/**
 * `sentAtMs`: monotonic, null when the commands never went out. `error`: why nothing can be read back, or
 * null.
 */
export interface BlindReport {
  readonly sentAtMs: number | null
  readonly freshLink: boolean
  readonly error: BenchError | null
}

export interface SafeOffWork {
  readonly table: SafeOffTable
  readonly reason: string
  readonly sessions: ReadonlyMap<string, KeeperSession>
  /** The bench's time: stamps, and the gap in which a contact opens. */
  readonly benchClock: Clock
  /** Time that goes on whatever happens: the bounds. */
  readonly livenessClock: Clock
  readonly limits?: Partial<SafeOffLimits>
}

export interface SafeOffLimits {
  /** How long a phase may take before the next one begins all the same, in ms. */
  phaseMs: number
  /** How long one link may take over its commands, in ms. */
  linkMs: number
  /** How long one link may take to read back as safe, in ms. */
  verifyMs: number
}

/** Common practice: a relay board answers in tens of ms; a slow LAN link opens within a second. */
const defaultLimits: SafeOffLimits = { phaseMs: 500, linkMs: 6000, verifyMs: 2000 }
const verifyPauseMs = 50

interface LinkOutcome { link: string; steps: SafeOffStep[]; blind: BlindReport | null }

/** Does all of it in bounded time. Never rejects: what fails stands in the report. */
export async function carryOut(work: SafeOffWork): Promise<SafeOffReport> {
  const limits = { ...defaultLimits, ...work.limits }
  const { benchClock, table, reason } = work
  const startMs = benchClock.monotonicMs()
  const atWallMs = benchClock.wallMs()
  const runs: Promise<LinkOutcome>[] = []
  for (const phase of table.phases) {
    if (phase.gapMs > 0) await gap(work, phase.gapMs)
    const begun = [...byLink(phase.steps)].map(([link, steps]) => blind(work, link, steps, limits.linkMs))
    runs.push(...begun)
    if (phase !== table.phases.at(-1)) await within(work.livenessClock, limits.phaseMs, Promise.all(begun))
  }
  const outcomes = await Promise.all(runs)
  const links = await Promise.all(merge(outcomes).map(outcome => settle(work, outcome, limits.verifyMs)))
  const sent = outcomes.flatMap(({ blind: b }) => b?.sentAtMs ?? []).map(ms => ms - startMs)
  const elapsedMs = benchClock.monotonicMs() - startMs
  const good = links.some(link => link.verified === true)
    && links.every(link => link.verified !== false && link.sent)
  return { reason, atWallMs, sentMs: sent.length > 0 ? Math.max(...sent) : elapsedMs,
    verifiedMs: good ? elapsedMs : null, links }
}

function byLink(steps: SafeOffTable['phases'][number]['steps']): Map<string, SafeOffStep[]> {
  const links = new Map<string, SafeOffStep[]>()
  for (const { link, step } of steps) links.set(link, [...links.get(link) ?? [], step])
  return links
}

/** The commands of one link, sent before this returns when the link is up. */
async function blind(
  work: SafeOffWork, link: string, steps: SafeOffStep[], limitMs: number
): Promise<LinkOutcome> {
  const session = work.sessions.get(link)
  if (session === undefined) return { link, steps, blind: null }
  const failed = (error: unknown): BlindReport => (
    { sentAtMs: null, freshLink: false, error: asBenchError(error) }
  )
  try {
    const sending = session.safeOff(steps.flatMap(step => step.commands))
    const report = await withDeadline(work.livenessClock, limitMs, `${link}: safe-off`, () => sending)
    return { link, steps, blind: report }
  } catch (error) {
    return { link, steps, blind: failed(error) }
  }
}

/** A link that had commands in two phases is read back once. */
function merge(outcomes: readonly LinkOutcome[]): LinkOutcome[][] {
  const links = new Map<string, LinkOutcome[]>()
  for (const outcome of outcomes) links.set(outcome.link, [...links.get(outcome.link) ?? [], outcome])
  return [...links.values()]
}

async function settle(
  work: SafeOffWork, outcomes: LinkOutcome[], limitMs: number,
): Promise<SafeOffReport['links'][number]> {
  const link = outcomes[0]!.link
  const blinds = outcomes.map(outcome => outcome.blind)
  const sent = blinds.every(one => one !== null && (one.sentAtMs !== null || one.error === null))
  const freshLink = blinds.some(one => one?.freshLink === true)
  const steps = outcomes.flatMap(outcome => outcome.steps)
  if (blinds.includes(null)) return { link, sent: false, freshLink, verified: false, note: 'no such link' }
  const error = blinds.at(-1)!.error
  if (error !== null) return { link, sent, freshLink, verified: false, note: error.message }
  const checks = steps.flatMap(step => step.verify ?? [])
  if (checks.length === 0) return { link, sent, freshLink, verified: null, note: 'no read-back' }
  const problem = await readBack(work, link, checks, limitMs)
  return { link, sent, freshLink, verified: problem === null, note: problem ?? '' }
}

/** Asks until everything reads safe or the time is up. Gives what is wrong, or null. */
async function readBack(
  work: SafeOffWork, link: string, checks: readonly NonNullable<SafeOffStep['verify']>[], limitMs: number,
): Promise<string | null> {
  const session = work.sessions.get(link)!
  const clock = work.livenessClock
  const endMs = clock.monotonicMs() + limitMs
  let problem: string | null = 'not read back in time'
  while (clock.monotonicMs() < endMs) {
    const leftMs = endMs - clock.monotonicMs()
    try {
      problem = await withDeadline(
        clock, leftMs, `${link}: read-back`, () => firstProblem(session, checks, leftMs)
      )
      if (problem === null) return null
    } catch (error) {
      problem = asBenchError(error).message
    }
    if (clock.monotonicMs() + verifyPauseMs >= endMs) break
    await gap(work, verifyPauseMs)
  }
  return problem
}

async function firstProblem(
  session: KeeperSession, checks: readonly NonNullable<SafeOffStep['verify']>[], deadlineMs: number,
): Promise<string | null> {
  for (const check of checks) {
    const answer = await session.query(check.query, { deadlineMs })
    if (!readsSafe(answer, check)) return `${check.query}: expected ${check.safe.join(' or ')}, got ${answer}`
  }
  return null
}

/**
 * Whether an answer shows the safe state: the exact text, or a number within the tolerance. An answer of
 * several numbers (one a relay) is safe when each of them is.
 */
export function readsSafe(answer: string, check: NonNullable<SafeOffStep['verify']>): boolean {
  const text = answer.trim()
  if (check.safe.includes(text)) return true
  const numbers = check.safe.filter(value => typeof value === 'number')
  return text.split(',').every(field => {
    const value = numberOf(field)
    return numbers.some(safe => Math.abs(value - safe) <= (check.tolerance ?? 0))
  })
}

/** What is no number compares with nothing. */
function numberOf(text: string): number {
  try { return parseReading(text).value } catch { return NaN }
}

/**
 * The bench's gap, ended by real time too: a simulated bench that stands still must not hold a safe-off up.
 */
async function gap(work: SafeOffWork, gapMs: number): Promise<void> {
  const control = new AbortController()
  const slackMs = work.livenessClock === work.benchClock ? 0 : 1000
  const waits = [sleep(work.benchClock, gapMs, control.signal)]
  if (slackMs > 0) waits.push(sleep(work.livenessClock, gapMs + slackMs, control.signal))
  for (const wait of waits) wait.catch(() => {})
  await Promise.race(waits)
  control.abort(new Error('the gap is over'))
}

async function within(clock: Clock, limitMs: number, work: Promise<unknown>): Promise<void> {
  await withDeadline(clock, limitMs, 'phase', () => work).catch(() => {})
}
