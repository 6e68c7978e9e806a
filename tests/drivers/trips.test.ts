/**
 * Over-protection trips against the simulated supplies: what stands at the terminals, not what the supply
 * says.
 */
import { describe, expect, it } from 'vitest'
import { DcSupply } from '../../mocks/instruments/dc-supply.ts'
import { Scanner } from '../../mocks/instruments/scanner.ts'
import { VirtualClock, sleep } from '../../src/base/clock.ts'
import { ScannerDriver } from '../../src/drivers/scanner.ts'
import { sessionOptionsOf } from '../../src/drivers/session-options.ts'
import { SupplyDriver } from '../../src/drivers/supply.ts'
import { Session } from '../../src/scpi/session.ts'
import { memoryLink } from '../../src/transport/memory.ts'
import { shippedProfile } from './scripted-port.ts'

const dialects = ['dc-supply-600v-a', 'dc-supply-500v-b'] as const

function supplyOn(name: (typeof dialects)[number], clock: VirtualClock) {
  let loadOhm = 1e6
  let drive = { voltageV: 0, currentLimitA: 0, on: false }
  const volts = (): number => drive.on ? Math.min(drive.voltageV, drive.currentLimitA * loadOhm) : 0
  const instrument = new DcSupply(name, { name, clock, seed: 7 }, {
    apply: setting => { drive = { ...setting } }, outputV: volts, currentA: () => volts() / loadOhm,
    mode: () => drive.voltageV <= drive.currentLimitA * loadOhm ? 'cv' : 'cc',
  })
  const link = memoryLink(clock, { onBytes: (chunk, reply) => instrument.receive(chunk, reply) })
  const profile = shippedProfile(name, 'dc-supply')
  const session = new Session(link.open, { name, clock, ...sessionOptionsOf(profile) })
  const supply = new SupplyDriver(profile, session, clock)
  const tripByCurrent = async (): Promise<void> => {
    await session.connect()
    await supply.prepare()
    await supply.protect(400, 0.05)
    await supply.setVoltage(300)
    await supply.setCurrentLimit(0.2)
    await supply.setOutput(true)
    expect(volts()).toBeGreaterThan(299)
    loadOhm = 2000
    await sleep(clock, 1000)
  }
  return { instrument, supply, volts, tripByCurrent, mend: () => { loadOhm = 1e6 } }
}

describe.each(dialects)('a trip of %s', name => {
  it('is told, cleared with the output off all the while, and leaves the supply usable', async () => {
    const clock = new VirtualClock()
    const { supply, volts, tripByCurrent, mend, instrument } = supplyOn(name, clock)
    await clock.run((async () => {
      await tripByCurrent()
      expect(volts()).toBe(0)
      expect(await supply.protectionTripped()).toBe('over-current')
      const before = instrument.device.effects.list('output').length
      await supply.clearProtection()
      expect(
        instrument.device.effects.list('output').slice(before).some(effect => effect.value === 1)
      ).toBe(false)
      expect(volts()).toBe(0)
      expect(await supply.protectionTripped()).toBe('none')
      mend()
      await supply.setOutput(true)
      expect(volts()).toBeGreaterThan(299)
    })())
  })

  it('that comes back on by itself when it is cleared is switched off and told', async () => {
    const clock = new VirtualClock()
    const { supply, volts, tripByCurrent, mend, instrument } = supplyOn(name, clock)
    await clock.run((async () => {
      await tripByCurrent()
      mend()
      instrument.device.faults.set({ kind: 'clear-restores-output' })
      await expect(supply.clearProtection()).rejects.toMatchObject({ code: 'READ_BACK' })
      expect(volts()).toBe(0)
    })())
  })
})

describe('a lying or deaf instrument', () => {
  it('whose settings read back wrong fails the setting', async () => {
    for (const name of dialects) {
      const clock = new VirtualClock()
      const { supply, instrument, tripByCurrent } = supplyOn(name, clock)
      await clock.run((async () => {
        await tripByCurrent()
        instrument.device.faults.set({ kind: 'read-back-lies', value: 123 })
        await expect(supply.setVoltage(200)).rejects.toMatchObject(
          { code: 'READ_BACK', context: { instrument: name } }
        )
      })())
    }
  })

  it('that misses one selection never gives the channel before it for the one asked', async () => {
    const clock = new VirtualClock()
    let closed: readonly number[] = []
    const instrument = new Scanner(
      'scanner-a', { name: 'scanner', clock, seed: 7 }, { closed: list => { closed = [...list] } }
    )
    const link = memoryLink(clock, { onBytes: (chunk, reply) => instrument.receive(chunk, reply) })
    const profile = shippedProfile('scanner-a', 'scanner')
    const session = new Session(link.open, { name: 'scanner', clock, ...sessionOptionsOf(profile) })
    const scanner = new ScannerDriver(profile, session, clock)
    await clock.run((async () => {
      await session.connect()
      await scanner.prepare()
      await scanner.select(101)
      instrument.device.faults.set({ kind: 'deaf', match: 'EXCL', times: 1 })
      await scanner.select(102)
      expect(closed).toEqual([102])
    })())
  })
})
