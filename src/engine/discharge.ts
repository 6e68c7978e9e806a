/** Bleeding, watched: how much charge came back, when it was touch-safe, and whether a zero may be believed. */
import { sleep } from '../base/clock.ts'
import { judgeDead } from '../safety/dead.ts'
import type { Deadness } from '../safety/dead.ts'
import type { RelayBoard } from '../schema/roles.ts'
import { release, silenceMs } from './bus.ts'
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
  // Where the last reading was bad, the part is taken to stand at the highest that its path ever showed.
  const stoodV = releaseV ?? (position.knownV > 0 ? position.knownV : null)
  let safeAtMs: number | null = null
  while (night.clock.monotonicMs() < untilMs) {
    const reading = await night.waiters.next(channel, { afterMs: night.clock.monotonicMs(), withinMs: silenceMs(night), signal: night.reading })
    if (reading === null) { position.current = null; break }
    const amps = -reading.value
    chargeC = chargeC === null ? Math.max(0, amps) * (tauMs / 1000) * headGain(reading.atMs - faultAtMs, tauMs)
      : chargeC + ((amps + last!.amps) / 2) * ((reading.atMs - last!.atMs) / 1000)
    last = { atMs: reading.atMs, amps }
    const worstOhm = pathOhm(night, position)
    if (safeAtMs === null && (Math.abs(amps) + 2 * reading.u) * worstOhm < limits.touchSafeV) safeAtMs = reading.atMs
    if (safeAtMs !== null && Math.abs(amps * worstOhm) < 1) break
  }
  const endOhm = pathOhm(night, position)
  const nowV = position.current?.quality === 'good' ? -position.current.value * endOhm : null
  const dead = judgeDead({
    knownV: stoodV, nowV, uV: (position.current?.u ?? 0) * endOhm, returnedC: chargeC,
    expectedC: stoodV === null ? null : farad * (1 - position.profile.toleranceMinus) * Math.max(0, stoodV),
    touchSafeV: limits.touchSafeV, atWallMs: night.clock.wallMs(),
  })
  position.touch = dead.text
  void night.recorder.event({
    kind: 'touch', severity: dead.verdict === 'dead' ? 'info' : 'warning', position: position.spec.name,
    text: `${position.spec.name} ${dead.text}`,
    data: { verdict: dead.verdict, chargeC, releaseV: stoodV, faultToTouchSafeMs: safeAtMs === null ? null : safeAtMs - faultAtMs },
  }).catch(() => {})
  return dead
}

/**
 * Resistance that the discharge current surely meets at most, ohms. A changeover that is welded to the bus bleeds its
 * part through the limiting resistor and the bus bleeder, and then the bus stands above zero. Unless a fresh reading
 * shows a dead bus, the larger of the two paths counts. While the bus is live no current can leave by it.
 */
function pathOhm(night: Night, position: PositionState): number {
  const { fixture } = night.bench
  const ohm = seriesOhm(fixture, position, false)
  if (night.state.live || busIsDead(night)) return ohm
  return Math.max(ohm, fixture.limitOhm + fixture.busBleederOhm + fixture.senseOhm)
}

/** Above this the bus is fed by something, volts; offsets of a meter and its leads stay below it (common practice). */
const busDeadV = 2

/** True when a fresh and good reading shows that nothing feeds the bus. */
export function busIsDead(night: Night): boolean {
  const { busV } = night.sampler
  if (busV === null || busV.quality !== 'good') return false
  return night.clock.monotonicMs() - busV.atMs < silenceMs(night) && Math.abs(busV.value) + 2 * busV.u < busDeadV
}

/** Charge that left before the first reading, as a multiple of I·τ, were it a plain RC: e^(Δt/τ) − 1, three τ at most. */
const headGain = (elapsedMs: number, tauMs: number): number => Math.expm1(Math.min(3, Math.max(0, elapsedMs) / tauMs))

/** What each part stands at now, volts; null where the path cannot tell. */
export const standingVolts = (night: Night): Map<PositionState, number | null> =>
  new Map(night.positions.map(position => [position, partVolts(night.bench.fixture, position, night.state.watching)]))

/** Releases all parts that are not dropped and follows each down. */
export async function bleedAll(night: Night): Promise<Map<PositionState, Deadness>> {
  const standing = night.positions.filter(position => position.stage !== 'dropped')
  const stoodAtV = standingVolts(night)
  await release(night, standing)
  return await followAll(night, standing, stoodAtV)
}

/** Follows released parts down. Works after a trip too: it needs only what still reads. */
export async function followAll(
  night: Night, standing: readonly PositionState[], stoodAtV: ReadonlyMap<PositionState, number | null>,
): Promise<Map<PositionState, Deadness>> {
  const startedMs = night.clock.monotonicMs()
  for (const position of standing) position.stage = 'bleeding'
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
