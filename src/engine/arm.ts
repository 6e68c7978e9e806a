/** Arming: everything is seen to be safe, then limits, protection and keeper are set, and only then the cutoff closes. */
import { BenchError } from '../base/errors.ts'
import { sleep } from '../base/clock.ts'
import type { Limit } from '../safety/limit.ts'
import type { Freshness } from '../safety/supervisor.ts'
import type { Supply, Voltmeter } from '../schema/roles.ts'
import { busTolerance, next, notWatched } from './bus.ts'
import type { Night } from './night.ts'
import { partVolts } from './position.ts'

/** Headroom of the supply's own protection over the target: lead drop and diode, common practice. */
const overVoltageShare = 1.05
const supplyStuckMs = 5000

/** Refuses, without having energised anything, unless every condition is seen to hold. */
export async function arm(night: Night): Promise<void> {
  await night.checkIdentities()
  await checkInterlock(night)
  const supply = night.roles.supply as Supply
  await supply.setOutput(false)
  await supply.setVoltage(0)
  await supply.setCurrentLimit(night.plan.supplyLimitA)
  await night.roles.positions?.releaseAll()
  await checkDead(night)
  await supply.protect(night.plan.overVoltageV, night.plan.supplyLimitA * 1.2)
  night.supervisor.arm(limitsOf(night), freshnessOf(night),
    { voltageV: night.plan.targetV, currentA: night.plan.supplyLimitA }, night.clock.monotonicMs())
  await night.guard.arm()
  await night.recorder.event({ kind: 'armed', text: `armed to ${night.plan.targetV} V, ${(1e3 * night.plan.supplyLimitA).toFixed(1)} mA` })
}

/** Closes the cutoff and switches the supply on at zero. The event is durable before either happens. */
export async function energise(night: Night): Promise<void> {
  night.supervisor.permit(0, night.plan.supplyLimitA)
  await night.recorder.event({ kind: 'energise', text: 'cutoff closes; supply on at 0 V' })
  await night.roles.beacon?.show('live')
  const { cutoff } = night.roles
  night.supervisor.permit(0, night.plan.supplyLimitA)
  night.state.live = true
  if (cutoff) {
    await cutoff.close()
    await sleep(night.clock, cutoff.settleMs, night.signal)
    if (!await cutoff.isClosed()) throw new BenchError('READ_BACK', 'the cutoff did not close', { instrument: cutoff.name })
  }
  await (night.roles.supply as Supply).setOutput(true)
  night.state.setV = 0
}

async function checkInterlock(night: Night): Promise<void> {
  const { interlock } = night.roles
  if (!interlock) return
  const { coverClosed, present } = await interlock.read()
  if (!coverClosed) throw new BenchError('REFUSED', 'the cover is open', { expected: 'cover closed and locked', got: 'open' })
  if (!present) {
    throw new BenchError('REFUSED', 'nobody confirmed presence at the bench', { expected: 'key or button at the bench', got: 'neither' })
  }
}

/** Bus and every part read below touch-safe with the parts on their bleeders. */
async function checkDead(night: Night): Promise<void> {
  const { touchSafeV } = night.bench.limits
  const bus = await (night.roles['bus-meter'] as Voltmeter).readVoltage()
  if (bus.quality !== 'good' || Math.abs(bus.value) + 2 * bus.u >= touchSafeV) {
    throw new BenchError('REFUSED', 'the bus is not dead', { expected: `below ${touchSafeV} V`, got: `${bus.value.toFixed(1)} V (${bus.quality})` })
  }
  const startedMs = night.clock.monotonicMs()
  for (const position of night.positions) {
    await next(night, night.channels.current[position.index]!.name, startedMs)
    const volts = partVolts(night.bench.fixture, position, false)
    if (volts === null || Math.abs(volts) >= touchSafeV) {
      throw new BenchError('REFUSED', `${position.spec.name} is not dead`,
        { expected: `below ${touchSafeV} V`, got: volts === null ? 'no good reading' : `${volts.toFixed(1)} V` })
    }
  }
}

function limitsOf(night: Night): Limit[] {
  const { plan, channels } = night
  const limits: Limit[] = [
    { id: 'bus.over', channel: channels.busVoltage.name, side: 'above', bound: busTolerance(night), samples: 2,
      reaction: 'stop', says: 'the bus is above what was asked for' },
    { id: 'bus.under', channel: channels.busVoltage.name, side: 'below', bound: notWatched, samples: 3, forMs: supplyStuckMs,
      reaction: 'stop', says: 'the bus fell away: cutoff open, supply gone, or a lead off' },
    { id: 'bus.most', channel: channels.busVoltage.name, side: 'above', bound: plan.targetV * overVoltageShare + 2,
      samples: 1, reaction: 'stop', says: 'the bus is above the envelope' },
    { id: 'supply.current', channel: channels.supplyCurrent.name, side: 'above', bound: plan.supplyLimitA * 0.98,
      samples: 3, forMs: supplyStuckMs, reaction: 'stop', says: 'the supply stays at its current limit' },
  ]
  for (const position of night.positions) {
    const { name } = position.spec
    const shared = { reaction: 'drop' as const, position: name, samples: 2 }
    limits.push({ ...shared, id: `${name}.current`, channel: `${name}.current`, side: 'above', bound: shortBoundA(night),
      says: 'more than a sound part ever takes' })
    const caseChannel = channels.caseTemperature[position.index]
    if (caseChannel) {
      limits.push({ ...shared, id: `${name}.case`, channel: caseChannel.name, side: 'above', bound: position.profile.caseMaxC,
        says: 'the can is too hot' })
    }
  }
  return limits
}

/** Half of what a dead short at target takes: forming stays below it, a part that fails above half way is past it. */
export const shortBoundA = (night: Night): number =>
  0.5 * night.plan.targetV / (night.bench.fixture.limitOhm + night.bench.fixture.senseOhm)

function freshnessOf(night: Night): Freshness[] {
  const { cadence } = night.bench
  const busMs = 3 * cadence.busQuietMs + 1000
  const sweepMs = 2 * cadence.sweepQuietMs + 1000 * night.plan.sweepS * 2 + 1000
  return [
    { channel: night.channels.busVoltage.name, maxAgeMs: busMs }, { channel: night.channels.supplyCurrent.name, maxAgeMs: busMs },
    ...night.positions.map(({ index }) => ({ channel: night.channels.current[index]!.name, maxAgeMs: sweepMs })),
  ]
}
