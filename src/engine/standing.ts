/**
 * What a part, and the bus, may stand at: from the currents that flow, by the worst path
 * that they may have taken.
 */
import type { Measured } from '../schema/reading.ts'
import { isKnownLow } from '../safety/held.ts'
import { busTolerance, silenceMs } from './bus.ts'
import type { Night } from './night.ts'
import { partVolts, seriesOhm } from './position.ts'
import type { PositionState } from './position.ts'

/**
 * What each part stands at now, volts; null where the path cannot tell: a part on the bus is measured
 * against the bus. Where that reads less than its set-point a lead of its meter may be off while the part is
 * full, and where it rose since the part was read the part has risen with it.
 */
export function standingVolts(night: Night): Map<PositionState, number | null> {
  const agrees = busAgreesNow(night)
  return new Map(night.positions.map(position => [
    position, position.wiring === 'bus' && (!agrees || busRoseSince(night, position)) ? null
      : ownVolts(night, position),
  ]))
}

/** Between two sweeps the bus may have climbed far past what a part was last read at. */
const busRoseSince = (night: Night, { currentAtBusV }: PositionState): boolean =>
  (night.sampler.busV?.value ?? 0) - currentAtBusV > busTolerance(night)

/**
 * Volts of a part by its own current; null where another position shows the same large one: the scanner may
 * give one's for the other's, and this part be full.
 */
export const ownVolts = (night: Night, position: PositionState): number | null =>
  position.wiring === 'bus' && mayBeAnothers(night, position) ? null
    : partVolts(night.bench.fixture, position, night.state.watching)

/** Two parts that take the same to within this share: modelling choice. */
const sameShare = 0.05

/** Whether the current of a part takes many volts off what it stands at, and is another's too. */
export function mayBeAnothers(night: Night, position: PositionState): boolean {
  const amps = position.current?.value ?? 0
  if (amps * seriesOhm(night.bench.fixture, position, false) < 2 * busTolerance(night)) return false
  return night.positions.some(other =>
    other !== position && Math.abs((other.current?.value ?? 0) - amps) <= sameShare * amps)
}

/**
 * Capacitance that a part surely has: the lower edge of its tolerance, or what the
 * bridge found before, if less.
 */
export const leastFarad = ({ profile, seenF }: PositionState): number =>
  Math.min(profile.capacitanceF * (1 - profile.toleranceMinus), seenF ?? Infinity)

/**
 * What a part stood at when it left, volts. Where the last reading was bad, the highest that its
 * path ever showed; and never less than what it was taken to hold before, because volts that nobody
 * saw leave are still there.
 */
export function stoodAt(position: PositionState, releaseV: number | null): number | null {
  const { knownV, held: { presumedV } } = position
  const seenV = releaseV ?? (knownV > 0 ? knownV : null)
  return presumedV === null ? seenV : Math.max(presumedV, seenV ?? 0)
}

/**
 * The most that a released part can stand at while `amps` leave it, volts with their uncertainty. A
 * changeover that is welded to the bus bleeds its part over the bus, and then the bus stands above zero:
 * unless a fresh reading shows a dead bus, the part may stand as far above the bus as its own resistors drop.
 * While the bus is live nothing leaves by it.
 */
export function worstVolts(night: Night, position: PositionState, amps: number, uA: number): {
  volts: number; u: number
} {
  const { fixture } = night.bench
  const ohm = seriesOhm(fixture, position, false)
  const direct = { volts: amps * ohm, u: uA * ohm }
  if (night.state.live || busIsDead(night)) return direct
  const bus = busNow(night)
  const overOhm = fixture.limitOhm + fixture.senseOhm
  const over = { volts: bus.volts + Math.abs(amps) * overOhm, u: Math.hypot(bus.u, uA * overOhm) }
  return Math.abs(direct.volts) + 2 * direct.u > over.volts + 2 * over.u ? direct : over
}

/**
 * What the bus stands at; where no fresh reading tells, what its bleeder would drop of
 * all that the parts send.
 */
function busNow(night: Night): { volts: number; u: number } {
  const { busV } = night.sampler
  if (night.roles['bus-meter'] && night.state.busTrusted && isFresh(night, busV)) {
    return { volts: Math.abs(busV.value), u: busV.u }
  }
  const { busBleederOhm } = night.bench.fixture
  const sent = night.positions.map(({ current }) => current ?? { value: 0, u: 0 })
  return {
    volts: busBleederOhm * sent.reduce((sum, { value }) => sum + Math.max(0, -value), 0),
    u: busBleederOhm * Math.hypot(...sent.map(({ u }) => u)),
  }
}

const isFresh = (night: Night, reading: Measured | null): reading is Measured =>
  reading?.quality === 'good' && night.clock.monotonicMs() - reading.atMs < silenceMs(night)

/**
 * Where nothing measures the bus, what its bleeder drops of the current that leaves the one part; null until
 * that part was proved dead, for no current flows through a broken bleeder either.
 */
function busThroughPart({ positions: [only], bench }: Night): Measured | null {
  if (!only?.current || only.wiring === 'bus' || !isKnownLow(only.held)) return null
  const { busBleederOhm } = bench.fixture
  return {
    ...only.current, value: Math.abs(only.current.value) * busBleederOhm, u: only.current.u * busBleederOhm,
  }
}

/**
 * A zero counts only where the same meter read a known voltage before: while the bus is up, its set-point.
 */
export function busAgreesNow(night: Night): boolean {
  const { setV } = night.state
  const tolerance = 2 * busTolerance(night)
  const { busV } = night.sampler
  return setV <= tolerance || busV?.quality === 'good' && busV.value >= setV - tolerance
}

/**
 * Above this the bus is fed by something, volts; offsets of a meter and its leads stay
 * below it (common practice).
 */
const busDeadV = 2

/** True when a fresh and good reading shows that nothing feeds the bus. */
export function busIsDead(night: Night): boolean {
  const busV = night.roles['bus-meter'] ? night.sampler.busV : busThroughPart(night)
  return night.state.busTrusted && isFresh(night, busV) && Math.abs(busV.value) + 2 * busV.u < busDeadV
}
