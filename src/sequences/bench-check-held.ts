/** With everything on the bus: interlock, cutoff closed, insulation, and the known resistance. */
import { connect, moveBus, next, rest } from '../engine/bus.ts'
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import { dummyCheck, failed, judge, leakageCheck, less, shown, shownU, yesNo } from './bench-check-judge.ts'
import type { Seen } from './bench-check-judge.ts'
import { slewFor } from './bench-check-plan.ts'
import type { Currents, Round } from './bench-check-round.ts'
import { busNow, isDummy, isEmpty, living, note, readAll } from './bench-check-round.ts'

/** Settling: time constants of the largest part, and at least this long, ms. */
const settleConstants = 8
const settleMsMin = 5000

/** Arming has refused already where the cover is open or nobody is there; this says what it saw. */
export async function checkInterlock(round: Round): Promise<void> {
  const { interlock } = round.night.roles
  if (!interlock) { round.unshown.push('the bench has no interlock'); return }
  const { coverClosed, present } = await interlock.read()
  const criterion = yesNo(coverClosed && present, 'cover closed and somebody present')
  note(round, { position: null, what: 'interlock', criterion })
}

/** From 0 V with everything on the bus; gives the highest charging current of each position. */
export async function rise({ night, p }: Round): Promise<Map<PositionState, number>> {
  await connect(night, night.positions)
  const slew = slewOf(night, p.voltageV)
  const peaks = new Map<PositionState, number>()
  let moving = true
  night.sampler.hurry(1000 * p.voltageV / slew + settleMsMin, 500)
  const watching = night.positions.map(async position => {
    while (moving) {
      const { value } = await next(night, `${position.spec.name}.current`, night.clock.monotonicMs())
      peaks.set(position, Math.max(peaks.get(position) ?? 0, value))
    }
  })
  await Promise.all([moveBus(night, p.voltageV, slew).finally(() => { moving = false }), ...watching])
  await rest(night,
    Math.max(settleMsMin, 1000 * settleConstants * largestF(night) * night.bench.fixture.limitOhm))
  return peaks
}

/**
 * Insulation and known resistance with the bus at its voltage. Gives what each took. `peaks`: the most each
 * took as the bus rose.
 */
export async function checkHeld(
  round: Round, peaks: ReadonlyMap<PositionState, number>,
): Promise<Currents> {
  const { night, p, zero } = round
  const held = await readAll(round)
  const bus = await busNow(night)
  note(round, { position: null, what: 'cutoff closes', criterion: judge('bench', bus, 'V', {
    low: 0.9 * p.voltageV - 1, high: 1.1 * p.voltageV + 1 }, 'the bus follows the supply') })
  const taken = lessZero(held, zero)
  for (const position of living(night)) {
    if (isDummy(night, position)) checkDummy(round, position, taken.get(position)!, bus)
  }
  checkInsulation(round, taken, bus.value, 'insulation', { peaks })
  if (night.bench.fixture.dummyOhm === undefined) round.unshown.push('the fixture has no known resistance')
  return taken
}

function checkDummy(round: Round, position: PositionState, seen: Seen, bus: Seen): void {
  const { fixture } = round.night.bench
  const ohm = fixture.dummyOhm! + fixture.limitOhm + fixture.senseOhm
  note(round, dummyCheck(position, seen, bus, ohm, round.p.dummyShare), seen.value < shownU * seen.u
    ? 'the relay does not close, or the lead is open' : 'the known resistance does not read right')
}

/** An insulation takes what it takes as the bus rises too; a part charges, and then takes this much less. */
const chargedFactor = 3
const partWords = 'something sits there that charges as a part does: name it in the rack list, or take it out'

/**
 * Of every empty position, at the voltage that the bus has; true when all passed. `atV`: as it was asked for,
 * where that is a night's. By `peaks` a part shows that nobody named: that tells nothing of the insulation.
 */
export function checkInsulation(
  round: Round, taken: Currents, busV: number, what: string,
  { atV, peaks }: { atV?: number; peaks?: ReadonlyMap<PositionState, number> },
): boolean {
  const { leakageOhmMin } = round.night.bench.fixture
  let shownOhm = Infinity
  let isWhole = true
  for (const position of living(round.night)) {
    if (!isEmpty(position) || isDummy(round.night, position)) continue
    const seen = taken.get(position)!
    const leakage = leakageCheck(position, seen, busV, leakageOhmMin, what)
    shownOhm = Math.min(shownOhm, leakage.shownOhm)
    const isPart = (peaks?.get(position) ?? 0) > chargedFactor * Math.abs(seen.value) + shownU * seen.u
    note(round, { ...leakage.check, ...atV === undefined ? {} : { volts: atV }, isMade: !isPart }, isPart
      ? partWords : `takes ${(1e9 * seen.value).toFixed(0)} nA at ${busV.toFixed(0)} V though it is empty`)
    isWhole &&= !failed(leakage.check)
  }
  if (shownOhm < 0.999 * leakageOhmMin) {
    round.unshown.push(`${what} above ${shown(shownOhm)}: the bench file asks for ${shown(leakageOhmMin)}, `
      + `which this meter would show from ${(busV * leakageOhmMin / shownOhm).toFixed(0)} V`)
  }
  return isWhole
}

export const lessZero = (held: Currents, zero: Currents): Currents =>
  new Map([...held].map(([position, seen]) => [position, less(seen, zero.get(position)!)]))

const largestF = (night: Night): number =>
  Math.max(0, ...night.positions.map(({ profile }) => profile.capacitanceF * (1 + profile.tolerancePlus)))
/** Volts a second at which the largest part charges far below its limit. */
export const slewOf = (night: Night, voltageV: number): number =>
  slewFor(largestF(night), voltageV, night.bench.fixture.limitOhm)
