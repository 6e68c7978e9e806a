/** Before a unit has mains: all is seen to be off, dead and as it should be; then limits and keeper. */
import { BenchError } from '../base/errors.ts'
import { sleep } from '../base/clock.ts'
import { refuseUnlessClosed } from '../engine/at-bench.ts'
import { isLoad } from './loads.ts'
import { freshnessOf, heatingWatches, limitsOf, watchesOf } from './limits.ts'
import { bound } from './mains.ts'
import type { Power } from './power.ts'

/** A unit that takes this share of its idle current with the mains open is not switched by this contactor. */
export const leakShare = 0.1

/** Before anything is read: a scanner that is reset while it is led would be taken for a faulty one. */
export async function preparePower(power: Power): Promise<void> {
  await power.checkIdentities()
  await prepare(power)
}

/** Refuses, without having energised anything, unless every condition is seen to hold. */
export async function armPower(power: Power, sweep: () => Promise<void>): Promise<void> {
  const { supervisor, stand, places, profile, clock, guard, recorder, roles, state } = power
  await refuseUnlessClosed(power.roles.interlock)
  await checkOpen(power)
  await checkLoads(power)
  await checkDead(power, sweep)
  const { meter, scanner } = roles
  const { noiseK = 0, stepK = 0 } = roles.thermometer ?? {}
  const probes = places.rails.length + places.idle.length + places.dc.length
  const sweepMs = probes * (scanner.settleMs + meter.readingMs)
  supervisor.arm(limitsOf(stand, places), freshnessOf(stand, places, sweepMs),
    { voltageV: stand.mainsV, currentA: profile.supply.currentMaxA }, clock.monotonicMs(),
    [
      ...watchesOf(stand, places,
        rail => state.live && state.isSettled && state.standing.has(rail), () => state.drivenAtMs),
      ...heatingWatches(stand, places, Math.hypot(noiseK, stepK / Math.sqrt(12))),
    ])
  bound(power)
  await guard.arm()
  await recorder.event({ kind: 'armed', text: `armed for ${profile.unit}: ${limitWords(power)}` })
}

const limitWords = ({ profile: { supply }, places }: Power): string =>
  `${supply.currentMaxA} A, ${places.rails.length} rails, ${places.dc.length} outputs for DC, `
    + `${places.temperatures.length} temperatures`

async function prepare({ roles }: Power): Promise<void> {
  const all: Partial<Record<string, { prepare(): Promise<void> }>> = { ...roles }
  for (const [name, instrument] of Object.entries(all)) {
    await instrument?.prepare().catch((error: unknown) => {
      const why = (error as Error).message
      throw new BenchError('LINK_OPEN', `${name} could not be prepared: ${why}`, {}, error)
    })
  }
  await roles.generator?.muteAll()
  await roles.meter.configure({ rangeV: 'auto', nplc: 1 })
}

/** A contact that is closed though nobody closed it, or current that flows past it, cannot be relied on. */
async function checkOpen(
  { roles: { mainsSwitch, powerMeter }, profile: { supply }, state }: Power,
): Promise<void> {
  const closed = await mainsSwitch.closedWay()
  if (closed !== null) {
    state.foundLive = `its mains contactor reads ${closed}`
    throw new BenchError('REFUSED', 'the mains contactor is closed before it was told to', {
      instrument: mainsSwitch.name, expected: 'open', got: `${closed} (welded?)`,
    })
  }
  const { current } = await powerMeter.readPower()
  state.openSeen = true
  const mostA = leakShare * supply.currentMaxA
  if (current.quality === 'good' && Math.abs(current.value) + 2 * current.u < mostA) return
  if (current.quality === 'good') state.foundLive = `it takes ${current.value.toPrecision(3)} A`
  throw new BenchError('REFUSED', 'the unit takes current though its mains is open', {
    instrument: powerMeter.name, expected: `below ${mostA.toPrecision(2)} A`,
    got: current.quality === 'good' ? `${current.value.toPrecision(3)} A`
      : `a reading that is ${current.quality}`,
  })
}

/** Outputs that the stand has are on their loads before anything is on; a valve stage has nothing else. */
async function checkLoads({ places, roles: { load }, clock, signal }: Power): Promise<void> {
  for (const { spec: { name, output }, output: at } of places.outputs) {
    if (!load) {
      if (!output.isValve) continue
      throw new BenchError('REFUSED', `no load for ${name}, whose valve stage must never run unloaded`)
    }
    await load.connect(at.load, nearest(load.stepsOhm, output.loadOhm))
    await sleep(clock, load.settleMs, signal)
    const ohm = await load.connected(at.load)
    if (isLoad(ohm, output.loadOhm)) continue
    throw new BenchError('REFUSED', `${name} is not on its load`, {
      instrument: load.name, expected: `${output.loadOhm} Ω`, got: ohm === null ? 'open' : `${ohm} Ω`,
    })
  }
}

const nearest = (steps: readonly number[], ohm: number): number =>
  steps.reduce((best, one) => Math.abs(one - ohm) < Math.abs(best - ohm) ? one : best)

/** Every rail reads below touch-safe before the unit is given mains. */
async function checkDead(power: Power, sweep: () => Promise<void>): Promise<void> {
  const { places, state, touchSafeV } = power
  await sweep()
  for (const { spec, channel } of places.rails) {
    const last = state.last.get(channel.name)
    if (last?.quality === 'good' && Math.abs(last.value) + 2 * last.u < touchSafeV) continue
    if (last?.quality === 'good') state.foundLive = `${spec.name} reads ${last.value.toFixed(1)} V`
    throw new BenchError('REFUSED', `rail ${spec.name} is not dead`, {
      expected: `below ${touchSafeV} V`,
      got: last?.quality === 'good' ? `${last.value.toFixed(1)} V` : 'no good reading',
    })
  }
}
