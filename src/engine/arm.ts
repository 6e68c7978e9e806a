/**
 * Arming: everything is seen to be safe, then limits, protection and keeper are set, and
 * only then the cutoff closes.
 */
import { BenchError } from '../base/errors.ts'
import { sleep } from '../base/clock.ts'
import type { Supply } from '../schema/roles.ts'
import { refuseUnlessClosed } from './at-bench.ts'
import { next } from './bus.ts'
import { freshnessOf, limitsOf, watchesOf, withoutCaseSensor } from './limits.ts'
import type { Night } from './night.ts'
import { partVolts, seriesOhm } from './position.ts'
import { prepareInstruments } from './prepare-instruments.ts'
import { armWatchdog } from './supply-watchdog.ts'

/** Refuses, without having energised anything, unless every condition is seen to hold. */
export async function arm(night: Night): Promise<void> {
  await night.checkIdentities()
  await prepareInstruments(night.roles)
  await refuseUnlessClosed(night.roles.interlock)
  const supply = night.roles.supply as Supply
  await supply.setOutput(false)
  await supply.setVoltage(0)
  await supply.setCurrentLimit(night.plan.supplyLimitA)
  await checkCutoff(night)
  await night.roles.positions?.releaseAll()
  await checkDead(night)
  await clearOldTrip(night, supply)
  await supply.protect(night.plan.overVoltageV, night.plan.supplyLimitA * 1.2)
  const watchdogS = await armWatchdog(night)
  night.supervisor.arm(limitsOf(night), freshnessOf(night),
    { voltageV: night.plan.targetV, currentA: night.plan.supplyLimitA }, night.clock.monotonicMs(),
    watchesOf(night))
  await night.guard.arm()
  await tellUnfelt(night)
  await night.recorder.event({
    kind: 'armed',
    text: `armed to ${night.plan.targetV} V, ${(1e3 * night.plan.supplyLimitA).toFixed(1)} mA; `
      + (watchdogS === null ? 'the supply has no communication watchdog'
        : `the supply goes off after ${watchdogS} s of silence`),
  })
}

/** Where no can is felt the record says so: power is limited there instead. */
async function tellUnfelt(night: Night): Promise<void> {
  const names = withoutCaseSensor(night).map(({ spec }) => spec.name)
  if (names.length === 0) return
  await night.recorder.event({
    kind: 'no-case-sensor',
    text: `no case sensor on ${names.join(' ')}: the power of the part is limited there, not its temperature`,
  })
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
    if (!await cutoff.isClosed()) {
      throw new BenchError('READ_BACK', 'the cutoff did not close', { instrument: cutoff.name })
    }
  }
  await (night.roles.supply as Supply).setOutput(true)
  night.state.setV = 0
}

/**
 * A trip of the supply itself from before, which a person acknowledged. At zero behind an open cutoff,
 * because clearing puts some outputs back on: then READ_BACK.
 */
async function clearOldTrip(night: Night, supply: Supply): Promise<void> {
  const trip = await supply.protectionTripped()
  if (trip === 'none') return
  await night.recorder.event({
    kind: 'cleared', severity: 'warning',
    text: `the supply's protection stood tripped (${trip}) and is cleared`,
  })
  await supply.clearProtection()
}

/** A contact that is closed though nobody closed it cannot be relied on to open. */
async function checkCutoff(night: Night): Promise<void> {
  const { cutoff } = night.roles
  if (!cutoff || !await cutoff.isClosed()) return
  throw new BenchError('REFUSED', 'the cutoff is closed before it was told to', {
    instrument: cutoff.name, expected: 'open', got: 'closed (welded?)',
  })
}

/** Bus and every part read below touch-safe with the parts on their bleeders. */
async function checkDead(night: Night): Promise<void> {
  const { touchSafeV } = night.bench.limits
  const bus = await night.roles['bus-meter']?.readVoltage()
  if (bus && (bus.quality !== 'good' || Math.abs(bus.value) + 2 * bus.u >= touchSafeV)) {
    throw new BenchError('REFUSED', 'the bus is not dead', {
      expected: `below ${touchSafeV} V`, got: `${bus.value.toFixed(1)} V (${bus.quality})`,
    })
  }
  const startedMs = night.clock.monotonicMs()
  for (const position of night.positions) {
    await next(night, night.channels.current[position.index]!.name, startedMs)
    const volts = partVolts(night.bench.fixture, position, false)
    const u = (position.current?.u ?? 0) * seriesOhm(night.bench.fixture, position, false)
    if (volts === null || !(Math.abs(volts) + 2 * u < touchSafeV)) {
      throw new BenchError('REFUSED', `${position.spec.name} is not dead`, {
        expected: `below ${touchSafeV} V`,
        got: volts === null ? 'no good reading' : `${volts.toFixed(2)} V ± ${(2 * u).toFixed(2)} V`,
      })
    }
  }
}
