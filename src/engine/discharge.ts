/**
 * Bleeding, watched: how much charge came back, when it was touch-safe, and whether a zero may be believed.
 */
import { brokeOff, chargeRatioMin, harmlessV, judgeDead, mayComeBack, unmeasured } from '../safety/dead.ts'
import { followed, mayBeCharged } from '../safety/held.ts'
import type { Reading } from '../schema/reading.ts'
import { busTolerance, silenceMs } from './bus.ts'
import type { Night } from './night.ts'
import { seriesOhm } from './position.ts'
import type { PositionState } from './position.ts'
import { leastFarad, stoodAt, worstVolts } from './standing.ts'

/** A discharge is followed for this many time constants of the largest part, and at least this long. */
const constants = 8
const followMsMin = 10_000
/** Below this there is nothing left to follow. */
const emptyV = 1

/** What was seen of one discharge. */
interface Seen { chargeC: number | null; safeAtMs: number | null; brokeAtV: number | null }

/**
 * Follows one released part down to touch-safe. `releaseV`: what it stood at, volts, null when unknown.
 * `faultAtMs`: when the reading that asked for it was taken, where a fault did.
 */
export async function followDischarge(
  night: Night, position: PositionState, releaseV: number | null, releasedAtMs: number, faultAtMs?: number,
): Promise<void> {
  const toldStoodV = toldV(night, position, releaseV)
  const { chargeC, safeAtMs, brokeAtV } = await follow(night, position, releasedAtMs)
  const doubt = doubtOf(night, position)
  const stoodV = doubt === null ? toldStoodV : null
  const { current } = position
  const end = current?.quality === 'good' ? worstVolts(night, position, -current.value, current.u) : null
  const expectedC = stoodV === null ? null : leastFarad(position) * Math.max(0, stoodV)
  const cameBack = expectedC !== null && chargeC !== null && chargeC >= chargeRatioMin * expectedC
  // Where it stopped at once the rest is still there, however much came before. And nothing that came back of
  // nothing that was seen shows no path: an open one reads the same.
  const emptied = cameBack && stoodV! >= emptyV && (brokeAtV ?? 0) < harmlessV
  const dead = doubt !== null ? unmeasured(doubt) : judgeDead({
    knownV: stoodV ?? (mayBeCharged(position.held) ? Infinity : null),
    nowV: end?.volts ?? null, uV: end?.u ?? 0, returnedC: chargeC,
    expectedC, brokeAtV, seenV: position.knownV,
    touchSafeV: night.bench.limits.touchSafeV, atWallMs: night.clock.wallMs(),
  })
  position.held = followed(position.held, dead, doubt === null ? stoodV : mostHeldV(night, position), emptied)
  const since = (fromMs: number | undefined): number | null =>
    doubt !== null || safeAtMs === null || fromMs === undefined ? null : safeAtMs - fromMs
  void night.recorder.event({
    kind: 'touch', severity: dead.verdict === 'dead' ? 'info' : 'warning', position: position.spec.name,
    text: `${position.spec.name} ${dead.text}`,
    data: {
      verdict: dead.verdict, heldV: position.held.presumedV, chargeC, releaseV: stoodV,
      releaseToTouchSafeMs: since(releasedAtMs),
      ...faultAtMs === undefined ? {} : { faultToTouchSafeMs: since(faultAtMs) },
    },
  }).catch(() => {})
}

/** Nothing is believed that came through a path which did not pass its check, or that may be another's. */
const doubtOf = (night: Night, { fault, lost }: PositionState): string | null =>
  fault ?? lost ?? night.state.misrouted ?? null

/** The most that a part of which nothing is believed may hold, volts; null where nothing tells. */
function mostHeldV(night: Night, { held: { presumedV } }: PositionState): number | null {
  const { mostSetV } = night.state
  return mostSetV === 0 ? presumedV : Math.max(presumedV ?? 0, mostSetV + busTolerance(night))
}

/** What was said of a part before it showed that no reading of this run is to be believed is taken back. */
export async function takeBack(night: Night, position: PositionState): Promise<void> {
  const doubt = doubtOf(night, position)
  if (doubt !== null && position.held.state === 'dead') await withdraw(night, position, doubt)
}

/** From this turn on it is said to be unmeasured, and why; resolves when that is on record. Never rejects. */
export async function withdraw(night: Night, position: PositionState, why: string): Promise<void> {
  const told = unmeasured(why)
  position.held = { ...followed(position.held, told, mostHeldV(night, position), false), emptied: false }
  await night.recorder.event({
    kind: 'touch', severity: 'warning', position: position.spec.name,
    text: `${position.spec.name} ${told.text}`,
    data: { verdict: told.verdict, heldV: position.held.presumedV },
  }).catch(() => {})
}

/**
 * What it stood at, volts; null where nothing tells. Where its last reading told nothing, what its path saw
 * before counts only if it was a voltage to speak of: a bus meter whose lead is off shows little, always. A
 * bus that was never asked for more charged nothing.
 */
function toldV(night: Night, position: PositionState, releaseV: number | null): number | null {
  const stoodV = stoodAt(position, releaseV)
  const { touchSafeV } = night.bench.limits
  const untold = releaseV === null && stoodV !== null && stoodV < touchSafeV
    && night.state.mostSetV + busTolerance(night) >= touchSafeV
  return untold && mayBeCharged(position.held) ? null : stoodV
}

/**
 * How long a part stays on its bleeder whatever it reads, ms: until the most that absorption can have brought
 * back is harmless. A sense meter that froze low would end its discharge at once.
 */
export function leastBleedMs(knownV: number, tauMs: number): number {
  return tauMs * Math.log(Math.max(1, mayComeBack * knownV / harmlessV))
}

/** Adds up the charge that comes back until the part is empty, silent, or out of time. */
async function follow(night: Night, position: PositionState, releasedAtMs: number): Promise<Seen> {
  const { capacitanceF, tolerancePlus } = position.profile
  const tauMs = 1000 * seriesOhm(night.bench.fixture, position, false) * capacitanceF
  const slowestMs = tauMs * (1 + tolerancePlus)
  const untilMs = night.clock.monotonicMs() + Math.max(followMsMin, constants * slowestMs)
  const leastUntilMs = releasedAtMs + leastBleedMs(position.knownV, slowestMs)
  const seen: Seen = { chargeC: null, safeAtMs: null, brokeAtV: null }
  let last: Reading | null = null
  while (night.clock.monotonicMs() < untilMs) {
    const reading: Reading | null = await night.waiters.next(night.channels.current[position.index]!,
      { afterMs: night.clock.monotonicMs(), withinMs: silenceMs(night), signal: night.reading })
    if (reading === null) { position.current = null; break }
    seen.chargeC = last === null
      ? headC(reading, releasedAtMs, tauMs) : seen.chargeC! + betweenC(last, reading)
    seen.brokeAtV = Math.max(seen.brokeAtV ?? 0, brokenAt(night, position, last, reading))
    last = reading
    const worst = worstVolts(night, position, -reading.value, reading.u)
    if (Math.abs(worst.volts) + 2 * worst.u < night.bench.limits.touchSafeV) seen.safeAtMs ??= reading.atMs
    const isEmpty = seen.safeAtMs !== null && Math.abs(worst.volts) < emptyV
    if (isEmpty && reading.atMs >= leastUntilMs) break
  }
  return seen
}

/** What was left when the current stopped at once, volts; 0 while it dies away. */
function brokenAt(night: Night, position: PositionState, last: Reading | null, now: Reading): number {
  if (last === null) return 0
  const ohm = seriesOhm(night.bench.fixture, position, false)
  const [beforeV, nowV] = [-last.value * ohm, -now.value * ohm]
  if (beforeV < harmlessV) return 0
  return brokeOff(beforeV, nowV, now.atMs - last.atMs, 1000 * ohm * leastFarad(position)) ? beforeV : 0
}

/** Charge that left before the first reading of a plain RC: I·τ·(e^(Δt/τ) − 1), three τ at most. */
const headC = ({ value, atMs }: Reading, releasedAtMs: number, tauMs: number): number =>
  Math.max(0, -value) * (tauMs / 1000) * Math.expm1(Math.min(3, Math.max(0, atMs - releasedAtMs) / tauMs))

const betweenC = (last: Reading, now: Reading): number =>
  -((now.value + last.value) / 2) * ((now.atMs - last.atMs) / 1000)
