/** Bleeding, watched: how much charge came back, when it was touch-safe, and whether a zero may be believed. */
import { sleep } from '../base/clock.ts'
import { judgeDead } from '../safety/dead.ts'
import type { Deadness } from '../safety/dead.ts'
import type { Measured } from '../schema/reading.ts'
import { bleedOhm } from '../schema/fixture.ts'
import type { RelayBoard } from '../schema/roles.ts'
import { nextOf, release, silenceMs } from './bus.ts'
import type { Night } from './night.ts'
import { partVolts, seriesOhm } from './position.ts'
import type { PositionState } from './position.ts'

/** A discharge is followed for this many time constants of the largest part, and at least this long. */
const constants = 8
const followMsMin = 10_000

/** Follows one released part down to touch-safe. `releaseV`: what it stood at, volts, null when unknown. */
export async function followDischarge(
  night: Night, position: PositionState, releaseV: number | null, faultAtMs: number,
): Promise<Deadness> {
  const { fixture, limits } = night.bench
  const ohm = seriesOhm(fixture, position, false)
  const farad = position.profile.capacitanceF
  const tauMs = 1000 * ohm * farad
  const untilMs = night.clock.monotonicMs() + Math.max(followMsMin, constants * tauMs * (1 + position.profile.tolerancePlus))
  const channel = night.channels.current[position.index]!
  let chargeC: number | null = null
  let last: { atMs: number; amps: number } | null = null
  const stoodV = stoodAt(position, releaseV)
  let safeAtMs: number | null = null
  while (night.clock.monotonicMs() < untilMs) {
    const reading = await night.waiters.next(channel, { afterMs: night.clock.monotonicMs(), withinMs: silenceMs(night), signal: night.reading })
    if (reading === null) { position.current = null; break }
    const amps = -reading.value
    chargeC = chargeC === null ? Math.max(0, amps) * (tauMs / 1000) * headGain(reading.atMs - faultAtMs, tauMs)
      : chargeC + ((amps + last!.amps) / 2) * ((reading.atMs - last!.atMs) / 1000)
    last = { atMs: reading.atMs, amps }
    const worst = worstVolts(night, position, amps, reading.u)
    if (safeAtMs === null && Math.abs(worst.volts) + 2 * worst.u < limits.touchSafeV) safeAtMs = reading.atMs
    if (safeAtMs !== null && Math.abs(worst.volts) < 1) break
  }
  const end = position.current?.quality === 'good'
    ? worstVolts(night, position, -position.current.value, position.current.u) : null
  const dead = judgeDead({
    knownV: stoodV, nowV: end?.volts ?? null, uV: end?.u ?? 0, returnedC: chargeC,
    expectedC: stoodV === null ? null : leastFarad(position) * Math.max(0, stoodV),
    touchSafeV: limits.touchSafeV, atWallMs: night.clock.wallMs(),
  })
  position.touch = dead.text
  position.presumedV = dead.verdict === 'dead' ? null : dead.verdict === 'live' ? Math.abs(dead.volts) : stoodV
  void night.recorder.event({
    kind: 'touch', severity: dead.verdict === 'dead' ? 'info' : 'warning', position: position.spec.name,
    text: `${position.spec.name} ${dead.text}`,
    data: { verdict: dead.verdict, chargeC, releaseV: stoodV, faultToTouchSafeMs: safeAtMs === null ? null : safeAtMs - faultAtMs },
  }).catch(() => {})
  return dead
}

/** Capacitance that a part surely has: the lower edge of its tolerance, or what the bridge found before, if less. */
const leastFarad = ({ profile, seenF }: PositionState): number =>
  Math.min(profile.capacitanceF * (1 - profile.toleranceMinus), seenF ?? Infinity)

/**
 * What a part stood at when it left, volts. Where the last reading was bad, the highest that its path ever showed; and
 * never less than what it was taken to hold before, because volts that nobody saw leave are still there.
 */
function stoodAt(position: PositionState, releaseV: number | null): number | null {
  const { knownV, presumedV } = position
  const seenV = releaseV ?? (knownV > 0 ? knownV : null)
  return presumedV === null ? seenV : Math.max(presumedV, seenV ?? 0)
}

/**
 * The most that a released part can stand at while `amps` leave it, volts with their uncertainty. A changeover that is
 * welded to the bus bleeds its part over the bus, and then the bus stands above zero: unless a fresh reading shows a
 * dead bus, the part may stand as far above the bus as its own resistors drop. While the bus is live nothing leaves by it.
 */
function worstVolts(night: Night, position: PositionState, amps: number, uA: number): { volts: number; u: number } {
  const { fixture } = night.bench
  const ohm = seriesOhm(fixture, position, false)
  const direct = { volts: amps * ohm, u: uA * ohm }
  if (night.state.live || busIsDead(night)) return direct
  const bus = busNow(night)
  const overOhm = fixture.limitOhm + fixture.senseOhm
  const over = { volts: bus.volts + Math.abs(amps) * overOhm, u: Math.hypot(bus.u, uA * overOhm) }
  return Math.abs(direct.volts) + 2 * direct.u > over.volts + 2 * over.u ? direct : over
}

/** What the bus stands at; where no fresh reading tells, what its bleeder would drop of all that the parts send. */
function busNow(night: Night): { volts: number; u: number } {
  const { busV } = night.sampler
  if (night.roles['bus-meter'] && isFresh(night, busV)) return { volts: Math.abs(busV.value), u: busV.u }
  const { busBleederOhm } = night.bench.fixture
  const sent = night.positions.map(({ current }) => current ?? { value: 0, u: 0 })
  return {
    volts: busBleederOhm * sent.reduce((sum, { value }) => sum + Math.max(0, -value), 0),
    u: busBleederOhm * Math.hypot(...sent.map(({ u }) => u)),
  }
}

const isFresh = (night: Night, reading: Measured | null): reading is Measured =>
  reading?.quality === 'good' && night.clock.monotonicMs() - reading.atMs < silenceMs(night)

/** Where nothing measures the bus, what its bleeder drops of the current that leaves the one part. */
function busThroughPart({ positions: [only], bench }: Night): Measured | null {
  if (!only?.current || only.wiring === 'bus') return null
  const { busBleederOhm } = bench.fixture
  return { ...only.current, value: Math.abs(only.current.value) * busBleederOhm, u: only.current.u * busBleederOhm }
}

/** Above this the bus is fed by something, volts; offsets of a meter and its leads stay below it (common practice). */
const busDeadV = 2

/** True when a fresh and good reading shows that nothing feeds the bus. */
export function busIsDead(night: Night): boolean {
  const busV = night.roles['bus-meter'] ? night.sampler.busV : busThroughPart(night)
  return isFresh(night, busV) && Math.abs(busV.value) + 2 * busV.u < busDeadV
}

/** Charge that left before the first reading, as a multiple of I·τ, were it a plain RC: e^(Δt/τ) − 1, three τ at most. */
const headGain = (elapsedMs: number, tauMs: number): number => Math.expm1(Math.min(3, Math.max(0, elapsedMs) / tauMs))

/** What each part stands at now, volts; null where the path cannot tell. */
export const standingVolts = (night: Night): Map<PositionState, number | null> =>
  new Map(night.positions.map(position => [position, partVolts(night.bench.fixture, position, night.state.watching)]))

/**
 * Releases all parts that are not dropped, every other one first, and follows each down. Those that are still on the
 * bus must not show the discharge of those that left: it would mean that the scanner gives one position's current for
 * another's, and no reading of this run could be believed.
 */
export async function bleedAll(night: Night): Promise<Map<PositionState, Deadness>> {
  const standing = night.positions.filter(position => position.stage !== 'dropped')
  const stoodAtV = standingVolts(night)
  const [first, then] = [standing.filter((_, i) => i % 2 === 0), standing.filter((_, i) => i % 2 === 1)]
  night.sampler.hurry(5000, 500)
  await release(night, first)
  const following = followAll(night, first, stoodAtV)
  following.catch(() => {})
  if (then.length > 0) {
    const releasedMs = night.clock.monotonicMs()
    await Promise.all(then.map(position => checkRouting(night, position, releasedMs)))
    await release(night, then)
  }
  const followed = await Promise.all([following, followAll(night, then, stoodAtV)])
  return new Map(followed.flatMap(map => [...map]))
}

/** A released part sends back its volts over the bleeder; this share of that, seen on the bus, is another's. */
const routingShare = 0.1

async function checkRouting(night: Night, position: PositionState, releasedMs: number): Promise<void> {
  if (position.wiring !== 'bus') return
  const reading = await nextOf(night, position, releasedMs)
  const dischargeA = (night.sampler.busV?.value ?? 0) / bleedOhm(night.bench.fixture)
  if (reading === null || reading.value > -Math.max(routingShare * dischargeA, 3 * reading.u)) return
  night.fault('scanner.misrouted',
    `${position.spec.name} is on the bus and shows the discharge of a part that left: the scanner mixes up positions`)
  throw night.signal.reason as Error
}

/** Waits until the relays have moved and a reading that began before that has ended: it would be of the bus. */
export async function changedOver(night: Night): Promise<void> {
  const { positions, scanner, 'sense-meter': meter } = night.roles
  await sleep(night.clock, (positions?.settleMs ?? 0) + (scanner?.settleMs ?? 0) + (meter?.readingMs ?? 0))
}

/** Follows released parts down. Works after a trip too: it needs only what still reads. */
export async function followAll(
  night: Night, standing: readonly PositionState[], stoodAtV: ReadonlyMap<PositionState, number | null>,
): Promise<Map<PositionState, Deadness>> {
  const startedMs = night.clock.monotonicMs()
  for (const position of standing) position.stage = 'bleeding'
  await changedOver(night)
  night.sampler.hurry(30_000, 500)
  const followed = await Promise.all(standing.map(async position =>
    [position, await followDischarge(night, position, stoodAtV.get(position) ?? null, startedMs)] as const))
  return new Map(followed)
}

/**
 * Opens the bleeders onto the watch resistance for `ms`, then closes them; what came back is noted per position. Ends
 * at once when a part comes near touch-safe.
 */
export async function watchRecovery(night: Night, ms: number): Promise<Map<PositionState, number>> {
  const highestV = new Map<PositionState, number>()
  const bleed = night.roles.bleed as RelayBoard | undefined
  const relay = night.bench.roles.bleed
  if (!bleed || typeof relay !== 'object' || relay.relay === undefined || night.bench.fixture.watchOhm === undefined) return highestV
  // A part that is still on its way down would be misread through the watch resistance.
  await dropsDone(night)
  await bleed.hold([relay.relay])
  try {
    night.state.watching = true
    await sleep(night.clock, bleed.settleMs, night.signal)
    const openedMs = night.clock.monotonicMs()
    while (night.clock.monotonicMs() < openedMs + ms) {
      await sleep(night.clock, Math.min(night.bench.cadence.sweepMs, Math.max(1, openedMs + ms - night.clock.monotonicMs())), night.signal)
      if (noteRecovery(night, openedMs, highestV)) break
    }
  } finally {
    await bleed.release([relay.relay])
    night.state.watching = false
  }
  return highestV
}

/** True when a part has come back so far that the bleeders must close. */
function noteRecovery(night: Night, openedMs: number, highestV: Map<PositionState, number>): boolean {
  const { fixture, limits } = night.bench
  let near: PositionState | null = null
  for (const position of night.positions) {
    // A current from before the bleeders opened, taken through the watch resistance, would be volts that never were.
    if (position.current === null || position.current.atMs < openedMs) continue
    const volts = Math.abs(partVolts(fixture, position, true) ?? 0)
    if (volts > (highestV.get(position) ?? 0)) highestV.set(position, volts)
    if (volts + 2 * position.current.u * seriesOhm(fixture, position, true) >= limits.touchSafeV) near = position
  }
  if (near === null) return false
  void night.recorder.event({ kind: 'recovery', severity: 'warning', position: near.spec.name,
    text: `${near.spec.name} came back to ${highestV.get(near)!.toFixed(0)} V, near touch-safe: the bleeders close` }).catch(() => {})
  return true
}

/** Resolves when every part that was dropped has been followed down; in bounded time. */
export const dropsDone = async (night: Night): Promise<void> => { await Promise.all(night.drops.values()) }
