/** Bleeding, watched: how much charge came back, when it was touch-safe, and whether a zero may be believed. */
import { sleep } from '../base/clock.ts'
import { judgeDead } from '../safety/dead.ts'
import type { Deadness } from '../safety/dead.ts'
import type { Channel, Reading } from '../schema/reading.ts'
import type { RelayBoard } from '../schema/roles.ts'
import { release } from './bus.ts'
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
    const reading = await nextUntil(night, channel, untilMs + silenceMs(night))
    if (reading === null) { position.current = null; break }
    const amps = -reading.value
    chargeC = chargeC === null ? Math.max(0, amps) * (tauMs / 1000) * headGain(reading.atMs - faultAtMs, tauMs)
      : chargeC + ((amps + last!.amps) / 2) * ((reading.atMs - last!.atMs) / 1000)
    last = { atMs: reading.atMs, amps }
    if (safeAtMs === null && Math.abs(amps * ohm) + 2 * reading.u * ohm < limits.touchSafeV) safeAtMs = reading.atMs
    if (safeAtMs !== null && Math.abs(amps * ohm) < 1) break
  }
  const nowV = position.current?.quality === 'good' ? partVolts(fixture, position, false) : null
  const dead = judgeDead({
    knownV: stoodV, nowV, uV: (position.current?.u ?? 0) * ohm, returnedC: chargeC,
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

/** A sweep at the quiet cadence may end after the follow-up does; a longer silence is one. */
const silenceMs = (night: Night): number => 2 * night.bench.cadence.sweepQuietMs + 2000 * night.plan.sweepS + 5000

/** The next reading, or null at `untilMs`: a meter that fell silent must not keep a run from ending. */
async function nextUntil(night: Night, channel: Channel, untilMs: number): Promise<Reading | null> {
  const nowMs = night.clock.monotonicMs()
  return await new Promise((resolve, reject) => {
    const cancel = night.clock.after(Math.max(1, untilMs - nowMs), () => resolve(null))
    night.waiters.next(channel, nowMs, night.reading).then(resolve, reject).finally(cancel)
  })
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
  night: Night, standing: readonly PositionState[], stoodAtV: Map<PositionState, number | null>,
): Promise<Map<PositionState, Deadness>> {
  const startedMs = night.clock.monotonicMs()
  for (const position of standing) position.stage = 'bleeding'
  night.sampler.hurry(30_000, 500)
  const followed = await Promise.all(standing.map(async position =>
    [position, await followDischarge(night, position, stoodAtV.get(position) ?? null, startedMs)] as const))
  return new Map(followed)
}

/** Opens the bleeders onto the watch resistance for `ms`, then closes them; what came back is noted per position. */
export async function watchRecovery(night: Night, ms: number): Promise<Map<PositionState, number>> {
  const highestV = new Map<PositionState, number>()
  const bleed = night.roles.bleed as RelayBoard | undefined
  const relay = night.bench.roles.bleed
  if (!bleed || typeof relay !== 'object' || relay.relay === undefined || night.bench.fixture.watchOhm === undefined) return highestV
  await bleed.hold([relay.relay])
  await sleep(night.clock, bleed.settleMs, night.signal)
  night.state.watching = true
  const openedMs = night.clock.monotonicMs()
  const endMs = night.clock.monotonicMs() + ms
  try {
    while (night.clock.monotonicMs() < endMs) {
      await night.waiters.next(night.channels.current[night.positions[0]!.index]!, night.clock.monotonicMs(), night.signal)
      for (const position of night.positions) {
        // A current from before the bleeders opened, taken through the watch resistance, would be volts that never were.
        if (position.current === null || position.current.atMs < openedMs) continue
        const volts = partVolts(night.bench.fixture, position, true)
        if (volts !== null && Math.abs(volts) > (highestV.get(position) ?? 0)) highestV.set(position, Math.abs(volts))
      }
    }
  } finally {
    await bleed.release([relay.relay])
    night.state.watching = false
  }
  return highestV
}
