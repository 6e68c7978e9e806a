/** Parts in a fixture, measured by simulated instruments over real sessions and drivers. */
import { describe, expect, test } from 'vitest'
import { ComponentFixture } from '../../../mocks/components/fixture.ts'
import { usualRatings, type ComponentKind } from '../../../mocks/components/kinds.ts'
import { makeComponent } from '../../../mocks/components/make-component.ts'
import type { SimInstrument } from '../../../mocks/instruments/instrument.ts'
import { LcrBridge } from '../../../mocks/instruments/lcr-bridge.ts'
import { Multimeter } from '../../../mocks/instruments/multimeter.ts'
import { SourceMeasure } from '../../../mocks/instruments/source-measure.ts'
import { VirtualClock } from '../../../src/base/clock.ts'
import { createDriver } from '../../../src/drivers/create.ts'
import { sessionOptionsOf } from '../../../src/drivers/session-options.ts'
import type { InstrumentClass } from '../../../src/schema/instrument-profile.ts'
import type { Bridge, OhmMeter, RoleName, Source } from '../../../src/schema/roles.ts'
import { Session } from '../../../src/scpi/session.ts'
import { memoryLink } from '../../../src/transport/memory.ts'
import { shippedProfile } from '../../drivers/scripted-port.ts'

interface Bench { fixture: ComponentFixture; source: Source; second: Source; ohms: OhmMeter; bridge: Bridge }

async function onBench(work: (bench: Bench) => Promise<void>): Promise<void> {
  const clock = new VirtualClock()
  const fixture = new ComponentFixture()
  const setup = (name: string) => ({ name, clock, seed: 11 })
  const sessions: Session[] = []
  const driver = async (role: RoleName, profileName: string, of: InstrumentClass, instrument: SimInstrument) => {
    const profile = shippedProfile(profileName, of)
    const link = memoryLink(clock, { onBytes: (chunk, reply) => instrument.receive(chunk, reply) })
    const session = new Session(link.open, { name: role, clock, ...sessionOptionsOf(profile) })
    sessions.push(session)
    await session.connect()
    const made = createDriver(role, profile, session, clock)
    await made.prepare()
    return made
  }
  await clock.run((async () => {
    const a = 'source-measure-a'
    const meter = 'multimeter-6d-a'
    await work({
      fixture,
      source: await driver('source', a, 'source-measure', new SourceMeasure(a, setup('one'), fixture.sources[0])) as Source,
      second: await driver('second-source', a, 'source-measure', new SourceMeasure(a, setup('two'), fixture.sources[1])) as Source,
      ohms: await driver('ohm-meter', meter, 'multimeter', new Multimeter(meter, setup('ohms'), fixture.meter)) as OhmMeter,
      bridge: await driver('bridge', 'lcr-bridge-a', 'lcr-bridge', new LcrBridge('lcr-bridge-a', setup('lcr'), fixture.bridge)) as Bridge,
    })
    for (const session of sessions) await session.close()
  })())
}

const made = (kind: ComponentKind) => makeComponent(kind, usualRatings[kind], 5)

describe('a part in the fixture', () => {
  test('a resistor reads its ohms by two wires with the leads, and by four without', () => onBench(async ({ fixture, ohms }) => {
    await ohms.configure({ rangeOhm: 'auto', wires: 2, nplc: 1 })
    expect((await ohms.readResistance()).quality).toBe('over-range')
    const part = made('resistor')
    fixture.hold(part)
    const two = await ohms.readResistance()
    await ohms.configure({ rangeOhm: 'auto', wires: 4, nplc: 10 })
    const four = await ohms.readResistance()
    // 0.5 mW on 300 K/W and 1e-4/K move it by 15 ppm at most.
    expect(Math.abs(four.value - part.truth.values['ohm']!)).toBeLessThan(4 * four.u + 2e-5 * four.value)
    expect(Math.abs(two.value - four.value - 0.2)).toBeLessThan(4 * Math.hypot(two.u, four.u))
  }))

  test('a capacitor reads its farads on the bridge', () => onBench(async ({ fixture, bridge }) => {
    const part = made('film-capacitor')
    fixture.hold(part)
    const { capacitance } = await bridge.measure({ frequencyHz: 1000, levelV: 0.5 })
    expect(Math.abs(capacitance.value - part.truth.values['farad']!)).toBeLessThan(4 * capacitance.u + 1e-5 * capacitance.value)
  }))

  test('a poor contact is never twice the same on the bridge either', () => onBench(async ({ fixture, bridge }) => {
    const moved = async (defect: { defect?: 'poor-contact' }): Promise<number> => {
      fixture.hold(makeComponent('inductor', { value: 10e-3, tolerance: 0.1 }, 5, defect))
      const rOhm: number[] = []
      for (let i = 0; i < 4; i++) rOhm.push((await bridge.impedance({ frequencyHz: 1000, levelV: 1 })).rOhm.value)
      return Math.max(...rOhm) - Math.min(...rOhm)
    }
    expect(await moved({ defect: 'poor-contact' })).toBeGreaterThan(10 * await moved({}))
  }))

  test('a diode stands at its forward volts and leaks the other way', () => onBench(async ({ fixture, source }) => {
    const part = made('diode')
    fixture.hold(part)
    await source.forceCurrent(1e-3, 2)
    await source.setOutput(true)
    const { voltage, current, limited } = await source.measure()
    expect(limited).toBe(false)
    const truthV = part.dc([{ high: 0, low: 1, mode: 'current', value: current.value, limit: 2 }]).drives[0]!.volts
    expect(Math.abs(voltage.value - truthV)).toBeLessThan(5 * voltage.u)
    await source.forceVoltage(-20, 1e-4)
    const reverse = await source.measure()
    expect(-reverse.current.value).toBeGreaterThan(0.5e-9)
    expect(-reverse.current.value).toBeLessThan(50e-9)
    fixture.hold(null)
    expect(Math.abs((await source.measure()).current.value)).toBeLessThan(0.5e-9)
  }))

  test('a transistor shows its gain to two sources', () => onBench(async ({ fixture, source, second }) => {
    const part = made('npn')
    fixture.hold(part)
    const [e, b, c] = [part.terminal('emitter'), part.terminal('base'), part.terminal('collector')]
    fixture.wire([[c, e], [b, e]], [0, 1])
    await source.forceVoltage(5, 0.02)
    await second.forceCurrent(10e-6, 1.5)
    await source.setOutput(true)
    await second.setOutput(true)
    const [collector, base] = [await source.measure(), await second.measure()]
    const { gain, earlyV } = part.truth.values as { gain: number; earlyV: number }
    const expected = gain * (1 + (5 - base.voltage.value) / earlyV)
    expect(Math.abs(collector.current.value / base.current.value / expected - 1)).toBeLessThan(0.01)
    await second.forceCurrent(200e-6, 1.5)
    expect(await source.measure()).toMatchObject({ limited: true })
  }))
})
