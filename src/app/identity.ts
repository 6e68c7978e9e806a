/**
 * Compares what answers at an address with what the bench file says is there, and with what its profile says
 * it answers.
 */
import { BenchError } from '../base/errors.ts'
import type { InstrumentCheck, SelfCheck } from '../schema/application.ts'
import type { InstrumentProfile } from '../schema/instrument-profile.ts'
import { sessionOptionsOf } from '../drivers/session-options.ts'
import { drainMax, readErrorAnswer } from '../scpi/error-queue.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { calibratedOf, calibrationStateOf } from './calibration.ts'
import type { ComposedBench } from './compose.ts'
import { rolesOf, type LoadedBench } from './files.ts'

type IdentityCheck = Omit<InstrumentCheck, 'calibrated' | 'calibration'>

/**
 * Identity alone: what arming needs. What does not answer is told, not thrown; NOT_FOUND for a name nobody
 * entered.
 */
export async function checkIdentity(
  bench: LoadedBench, composed: ComposedBench, name: string
): Promise<IdentityCheck> {
  const { url, profile, identity: expected } = entryOf(bench, name)
  const check = { name, roles: rolesOf(bench, name), url, profile, selfCheck: null }
  try {
    const session = composed.sessions.get(name)
    if (session) await session.connect()
    const identity = await composed.ports.get(name)!.query('*IDN?')
    const matches = identity.trim() === expected.trim()
    return { ...check, identity, matches, problem: matches ? null : `expected ${expected}` }
  } catch (error) {
    return { ...check, identity: null, matches: false, problem: (error as Error).message }
  }
}

/**
 * Identity and calibration, and where it is the one entered and `idle` (no run goes on), whether its profile
 * fits. As `checkIdentity`.
 */
export async function checkInstrument(
  bench: LoadedBench, composed: ComposedBench, name: string, idle: boolean, wallMs: number,
): Promise<InstrumentCheck> {
  const check = await checkIdentity(bench, composed, name)
  const dated = {
    ...check, calibrated: calibratedOf(bench, name) ?? null,
    calibration: calibrationStateOf(bench, name, wallMs),
  }
  if (!check.matches || !idle) return dated
  return {
    ...dated, selfCheck: await selfCheck(composed.ports.get(name)!, bench.profiles.get(name)!.profile)
  }
}

function entryOf({ file: { instruments } }: LoadedBench, name: string): (typeof instruments)[string] {
  const entry = Object.hasOwn(instruments, name) ? instruments[name] : undefined
  if (entry) return entry
  throw new BenchError('NOT_FOUND', 'the bench file has no such instrument', {
    expected: `one of ${Object.keys(instruments).join(', ')}`, got: name,
  })
}

/**
 * Asks what changes nothing: settings and states of the profile, without a channel in them. No `*TST?`: some
 * instruments switch their outputs in it.
 */
async function selfCheck(port: ScpiPort, profile: InstrumentProfile): Promise<SelfCheck> {
  const result: SelfCheck = { asked: 0, waiting: [], wrong: [] }
  try {
    result.waiting = await drain(port, profile)
    for (const { query, expected } of quietQueries(profile)) {
      result.asked++
      const answer = (await port.query(query)).trim()
      if (expected === null ? !isKnown(answer, profile) : answer !== expected) {
        result.wrong.push(`\`${query}\`: expected ${expected ?? 'a number or a word of the profile'}, `
          + `got ${JSON.stringify(answer.slice(0, 60))}`)
      }
    }
    result.wrong.push(...await drain(port, profile))
  } catch (error) {
    result.wrong.push((error as Error).message)
  }
  return result
}

/** Everything in the error queue; reading it takes it out. */
async function drain(port: ScpiPort, profile: InstrumentProfile): Promise<string[]> {
  const check = sessionOptionsOf(profile).errorQueue
  if (!check) return []
  const found: string[] = []
  for (let i = 0; i < drainMax(check); i++) {
    const error = readErrorAnswer(check, await port.query(check.query))
    if (error === null) break
    found.push(`${error.code} ${error.text}${error.info === '' ? '' : `; ${error.info}`}`)
  }
  return found
}

function quietQueries(profile: InstrumentProfile): { query: string; expected: string | null }[] {
  const asks = Object.entries(profile.commands as Record<string, unknown>)
    .filter((entry): entry is [string, string] =>
      /^ask/.test(entry[0]) && typeof entry[1] === 'string' && !entry[1].includes('{'))
    .map(([, query]) => ({ query, expected: null }))
  const status = profile.class === 'dc-supply' && profile.status ? [
    { query: profile.status.query, expected: null }
  ] : []
  const confirm = profile.class === 'lcr-bridge' ? profile.commands.confirm.map(
    ({ query, answer }) => ({ query, expected: answer })
  ) : []
  return [...asks, ...status, ...confirm]
}

function isKnown(answer: string, { booleans, answers }: InstrumentProfile): boolean {
  if (/^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(answer)) return true
  return [
    booleans.readsOn, booleans.readsOff, ...answers.overRange, ...answers.missing, ...answers.implausible
  ].includes(answer)
}

/** IDENTITY where an instrument does not answer as the bench file says. */
export async function checkIdentities(bench: LoadedBench, composed: ComposedBench): Promise<void> {
  const checks = Object.keys(bench.file.instruments).map(name => checkIdentity(bench, composed, name))
  const wrong = (await Promise.all(checks)).find(({ matches }) => !matches)
  if (wrong) {
    throw new BenchError('IDENTITY', wrong.problem ?? 'a different instrument answers', {
      instrument: wrong.name, expected: bench.file.instruments[wrong.name]!.identity,
      got: wrong.identity ?? 'no answer',
    })
  }
}
