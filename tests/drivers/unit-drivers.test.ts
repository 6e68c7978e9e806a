/** What drivers of unit roles do beyond the contract: order of settings, faults that are seen, figures. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { SimInstrument } from '../../mocks/instruments/instrument.ts'
import { SimLoadBank } from '../../mocks/instruments/load-bank.ts'
import { MainsContactor } from '../../mocks/instruments/mains-contactor.ts'
import { SimSignalGenerator } from '../../mocks/instruments/signal-generator.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import { createDriver } from '../../src/drivers/create.ts'
import { GeneratorDriver } from '../../src/drivers/generator.ts'
import { PowerMeterDriver } from '../../src/drivers/power-meter.ts'
import { sessionOptionsOf } from '../../src/drivers/session-options.ts'
import { instrumentProfile, type InstrumentProfile } from '../../src/schema/instrument-profile.ts'
import { parseWith } from '../../src/schema/read-file.ts'
import type { RoleName, Roles } from '../../src/schema/roles.ts'
import { Session } from '../../src/scpi/session.ts'
import { memoryLink } from '../../src/transport/memory.ts'
import { PlainUnit } from './plain-unit.ts'
import { scriptedPort, shippedProfile, type ScriptedPort } from './scripted-port.ts'

const failsWith = (code: string) => expect.objectContaining({ code }) as Error

async function onLink<R extends RoleName, I extends SimInstrument>(
  role: R, profile: InstrumentProfile, make: (clock: VirtualClock, unit: PlainUnit) => I,
  work: (bench: { driver: NonNullable<Roles[R]>; instrument: I; unit: PlainUnit; clock: VirtualClock }) => Promise<void>,
): Promise<void> {
  const clock = new VirtualClock()
  const unit = new PlainUnit()
  const instrument = make(clock, unit)
  const { open } = memoryLink(clock, { onBytes: (chunk, reply) => instrument.receive(chunk, reply) })
  const session = new Session(open, { name: role, clock, ...sessionOptionsOf(profile) })
  await clock.run((async () => {
    await session.connect()
    const driver = createDriver(role, profile, session, clock)
    await driver.prepare()
    await work({ driver, instrument, unit, clock })
  })())
  await session.close()
}

const contactor = shippedProfile('mains-contactor-a', 'mains-contactor')
const onMains = (work: Parameters<typeof onLink<'mains-switch', MainsContactor>>[3]) => () =>
  onLink('mains-switch', contactor, (clock, unit) => new MainsContactor({ name: 'mains', clock, seed: 1 }, unit), work)

describe('a mains switch', () => {
  it('opens one way before it closes another', onMains(async ({ driver, instrument, unit }) => {
    await driver.close('series')
    const before = instrument.device.effects.list('mains').length
    await driver.close('full')
    expect(instrument.device.effects.list('mains').slice(before).map(({ value }) => value)).toEqual([0, 1])
    expect(unit.mains!.seriesOhm).toBe(0)
    const lines = instrument.device.received.list().map(({ line }) => line)
    expect(lines.lastIndexOf('MAIN:OPEN')).toBeLessThan(lines.lastIndexOf('MAIN:CLOS FULL'))
  }))

  it('drops by itself when nobody holds it', onMains(async ({ driver, unit, clock }) => {
    await driver.close('full')
    await new Promise<void>(resolve => { clock.after(driver.holdMs + 100, resolve) })
    expect([unit.mains, await driver.closedWay()]).toEqual([null, null])
  }))

  it('says that it did not close, and is told to open again', onMains(async ({ driver, instrument, unit }) => {
    instrument.device.faults.set({ kind: 'relay-dead' })
    await expect(driver.close('full')).rejects.toMatchObject({ code: 'READ_BACK', context: { expected: 'full closed', got: 'open' } })
    instrument.device.faults.clear()
    await new Promise<void>(resolve => { instrument.device.clock.after(500, resolve) })
    expect(unit.mains).toBeNull()
  }))

  it('says that it did not open where it is welded', onMains(async ({ driver, instrument, unit }) => {
    await driver.close('full')
    instrument.device.faults.set({ kind: 'relay-welds' })
    await expect(driver.open()).rejects.toMatchObject({ code: 'READ_BACK', context: { got: 'full closed' } })
    expect(unit.mains).not.toBeNull()
  }))

  it('sees one welded pole though the unit is off, and closes no other way over it', onMains(async ({ driver, instrument, unit }) => {
    await driver.close('full')
    instrument.device.faults.set({ kind: 'relay-welds', value: 'pole' })
    await expect(driver.open()).rejects.toMatchObject({ code: 'READ_BACK', context: { got: 'poles that do not agree' } })
    expect(unit.mains).toBeNull()
    await expect(driver.closedWay()).rejects.toEqual(failsWith('READ_BACK'))
    // By 100 ohm it would have the whole mains over the pole that sticks.
    await expect(driver.close('series')).rejects.toEqual(failsWith('READ_BACK'))
    expect(unit.mains).toBeNull()
  }))

  it('believes its auxiliary contacts, and says what makes no sense', onMains(async ({ driver, instrument }) => {
    instrument.device.faults.set({ kind: 'read-back-lies', value: 'FULL' })
    await expect(driver.open()).rejects.toEqual(failsWith('READ_BACK'))
    instrument.device.faults.clear()
    instrument.device.faults.set({ kind: 'read-back-lies', value: 'MAYBE' })
    await expect(driver.closedWay()).rejects.toMatchObject({ code: 'ANSWER_FORM', context: { got: 'MAYBE' } })
  }))

  it('tells its ways from the most limited to the full one', () => {
    const { ways } = createDriver('mains-switch', contactor, scriptedPort({}), new VirtualClock())
    expect(ways).toEqual([
      { name: 'series', seriesOhm: 100, seriesW: 300, share: 1 }, { name: 'low', seriesOhm: 2, seriesW: 60, share: 0.5 },
      { name: 'full', seriesOhm: 0, seriesW: null, share: 1 },
    ])
  })
})

const a = shippedProfile('signal-generator-a', 'signal-generator')
const b = shippedProfile('signal-generator-b', 'signal-generator')

/** Volts and states that stand, by channel and sine, as the instrument would answer. */
function generatorA(standing: { one: number; two: number; isTwoOn: boolean }) {
  const said: Record<string, string> = {
    'SOUR1:TONE1:VOLT': String(standing.one), 'SOUR1:TONE2:VOLT': String(standing.two), 'SOUR1:TONE1:STAT': '1',
    'SOUR1:TONE2:STAT': standing.isTwoOn ? '1' : '0',
  }
  const port = scriptedPort({})
  port.write = async line => {
    port.sent.push(line)
    const [header, value] = line.split(' ')
    said[header!] = value === 'ON' ? '1' : value === 'OFF' ? '0' : value!
  }
  port.query = async line => said[line.slice(0, -1)] ?? '0'
  return { port, generator: new GeneratorDriver(a, port, new VirtualClock()) }
}
const at = (frequencyHz: number, levelV: number) => ({ frequencyHz, levelV })
const settings = (port: ScriptedPort): string[] => port.sent.filter(line => !line.includes('?'))

describe('a generator', () => {
  it('sets a level that falls before its frequency, and one that rises after it', async () => {
    const falls = generatorA({ one: 1, two: 0, isTwoOn: false })
    await falls.generator.setTones(1, [at(60, 0.1)])
    expect(settings(falls.port).map(line => line.split(' ')[0])).toEqual(
      ['SOUR1:TONE1:VOLT', 'SOUR1:TONE1:STAT', 'SOUR1:TONE2:STAT', 'SOUR1:TONE1:FREQ'])
    const rises = generatorA({ one: 0.1, two: 0, isTwoOn: false })
    await rises.generator.setTones(1, [at(60, 1)])
    expect(settings(rises.port).map(line => line.split(' ')[0])).toEqual(
      ['SOUR1:TONE2:STAT', 'SOUR1:TONE1:FREQ', 'SOUR1:TONE1:VOLT', 'SOUR1:TONE1:STAT'])
  })

  it('lets a second sine in last, whatever its level was', async () => {
    const { port, generator } = generatorA({ one: 1, two: 5, isTwoOn: false })
    await generator.setTones(1, [at(60, 0.8), at(7000, 0.2)])
    const lines = settings(port)
    expect(lines.indexOf('SOUR1:TONE1:VOLT 0.80000')).toBeLessThan(lines.indexOf('SOUR1:TONE1:FREQ 60'))
    expect(lines.slice(-2)).toEqual(['SOUR1:TONE2:VOLT 0.20000', 'SOUR1:TONE2:STAT ON'])
  })

  it('never gives more on the way than before or afterwards, from any setting to any other', async () => {
    const level = fc.double({ min: 1e-4, max: 5, noNaN: true })
    const tones = fc.array(fc.record({ frequencyHz: fc.double({ min: 20, max: 2e4, noNaN: true }), levelV: level }), { minLength: 1, maxLength: 2 })
    await fc.assert(fc.asyncProperty(tones, tones, async (first, second) => {
      const clock = new VirtualClock()
      const unit = new PlainUnit()
      const instrument = new SimSignalGenerator('signal-generator-a', { name: 'drive', clock, seed: 2, instant: true, reference: () => 0 }, unit)
      let most = 0
      const peak = (): number => (unit.sources.get(0)?.tones ?? []).reduce((sum, tone) => sum + tone.peakV, 0)
      const { open } = memoryLink(clock, { onBytes: (chunk, reply) => { instrument.receive(chunk, reply); most = Math.max(most, peak()) } })
      const session = new Session(open, { name: 'drive', clock, ...sessionOptionsOf(a) })
      await clock.run((async () => {
        await session.connect()
        const generator = new GeneratorDriver(a, session, clock)
        await generator.prepare()
        await generator.setTones(1, first)
        await generator.setOutput(1, true)
        const before = peak()
        most = 0
        await generator.setTones(1, second)
        expect(most).toBeLessThanOrEqual(Math.max(before, peak()) * (1 + 1e-9))
      })())
      await session.close()
    }), { numRuns: 60 })
  })

  it('counts volts as its commands do, and never sends more than was asked', async () => {
    const port = scriptedPort({ 'VOLT? (@1)': ['0.100 VPP', '1.414 VPP'], 'FREQ? (@1)': '1000.00', 'OUTP? (@1)': '0' })
    await new GeneratorDriver(b, port, new VirtualClock()).setTones(1, [at(1000, 0.5)])
    // 0.5 V RMS are 1.41421 V peak to peak.
    expect(settings(port)).toEqual(['FREQ 1000,(@1)', 'VOLT 1.414,(@1)'])
  })

  it('refuses a level that its steps would round to nothing, and takes none at all', async () => {
    const { port, generator } = generatorA({ one: 1, two: 0, isTwoOn: false })
    await expect(generator.setTones(1, [at(1000, 0.9e-5)])).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    expect(port.sent).toEqual([])
    await generator.setTones(1, [at(1000, 1e-5)])
    await generator.setTones(1, [at(1000, 0)])
    expect(port.sent.filter(line => line.startsWith('SOUR1:TONE1:VOLT '))).toEqual(['SOUR1:TONE1:VOLT 0.00001', 'SOUR1:TONE1:VOLT 0.00000'])
  })

  it('fails where its clock is not in step, before anything is measured with it', () => onLink(
    'generator', b, (clock, unit) => new SimSignalGenerator('signal-generator-b', { name: 'drive', clock, seed: 3 }, unit),
    async ({ driver }) => { expect([driver.sharesClock, driver.own!.clockU > 0]).toEqual([false, true]) },
  ).then(() => expect(onLink(
    'generator', a, (clock, unit) => new SimSignalGenerator('signal-generator-a', { name: 'drive', clock, seed: 3 }, unit), async () => {},
  )).rejects.toMatchObject({ code: 'READ_BACK', context: { command: 'ROSC:SOUR EXT' } })))

  it('cannot see that it gives more than it says: that is for who listens', () => onLink(
    'generator', b, (clock, unit) => new SimSignalGenerator('signal-generator-b', { name: 'drive', clock, seed: 3 }, unit),
    async ({ driver, instrument, unit }) => {
      instrument.device.faults.set({ kind: 'output-gain', value: 1.5 })
      await driver.setTones(1, [at(1000, 1)])
      await driver.setOutput(1, true)
      expect(unit.sourceRmsV(0)).toBeGreaterThan(1.45)
    }))

  it('fails a level that reads back otherwise', () => onLink(
    'generator', b, (clock, unit) => new SimSignalGenerator('signal-generator-b', { name: 'drive', clock, seed: 3 }, unit),
    async ({ driver, instrument }) => {
      instrument.device.faults.set({ kind: 'read-back-lies', value: 0.3 })
      await expect(driver.setTones(1, [at(1000, 1)])).rejects.toEqual(failsWith('READ_BACK'))
    }))

  it('has harmonics within its figure, of both sines', () => onLink(
    'generator', a, (clock, unit) => new SimSignalGenerator('signal-generator-a', { name: 'drive', clock, seed: 3, reference: () => 0 }, unit),
    async ({ driver, unit }) => {
      await driver.setTones(1, [at(1000, 1)])
      await driver.setOutput(1, true)
      const [first, ...harmonics] = unit.sources.get(0)!.tones
      const share = Math.hypot(...harmonics.map(tone => tone.peakV)) / first!.peakV
      expect(harmonics.map(tone => Math.round(tone.frequencyHz))).toEqual([2000, 3000, 4000, 5000])
      expect(share).toBeGreaterThan(0)
      expect(share).toBeLessThanOrEqual(driver.own!.thdMost)
      expect(unit.sources.get(0)!.noiseVPerRootHz).toBe(driver.own!.noiseVPerRootHz)
    }))
})

describe('a load', () => {
  const bank = shippedProfile('load-bank-a', 'load-bank')
  const onLoad = (work: Parameters<typeof onLink<'load', SimLoadBank>>[3]) => () =>
    onLink('load', bank, (clock, unit) => new SimLoadBank({ name: 'loads', clock, seed: 1 }, unit), work)

  it('stands open for a moment between two steps, so drive is muted by who changes it', onLoad(async ({ driver, instrument }) => {
    await driver.connect(1, 8)
    await driver.connect(1, 4)
    const seen = instrument.device.effects.list('load-1').map(({ value }) => Number.isFinite(value))
    expect(seen.slice(-3)).toEqual([true, false, true])
  }))

  it('reads its relays, not the resistor: an open one and a wrong one are for who measures', onLoad(async ({ driver, instrument, unit }) => {
    instrument.device.faults.set({ kind: 'step-open', value: 8 })
    await driver.connect(1, 8)
    expect([await driver.connected(1), unit.loads.get(0)]).toEqual([8, null])
    instrument.device.faults.clear()
    instrument.device.faults.set({ kind: 'step-wrong', value: 2 })
    await driver.connect(1, 4)
    expect(unit.loads.get(0)).toBeGreaterThan(7.8)
  }))

  it('fails when another step reads back, or none', onLoad(async ({ driver, instrument }) => {
    instrument.device.faults.set({ kind: 'read-back-lies', value: 'OPEN' })
    await expect(driver.connect(1, 8)).rejects.toMatchObject({ code: 'READ_BACK', context: { expected: '8 Ohm', got: 'open' } })
    instrument.device.faults.clear()
    instrument.device.faults.set({ kind: 'read-back-lies', value: '16.0' })
    await expect(driver.connect(1, null)).rejects.toMatchObject({ code: 'READ_BACK', context: { expected: 'open', got: '16 Ohm' } })
  }))
})

describe('a power meter', () => {
  const meter = shippedProfile('power-meter-a', 'power-meter')
  const read = (line: string) => new PowerMeterDriver(meter, scriptedPort({ 'MEAS:ALL?': line }), new VirtualClock()).readPower()

  it('takes each accuracy of the range that the value lies in', async () => {
    const { voltage, current, power, frequencyHz } = await read('+2.300000E+02,+5.000000E-01,+4.000000E+01,+5.000000E+01')
    expect(voltage.u).toBeCloseTo(Math.hypot((230 * 5e-4 + 300 * 5e-4) / Math.sqrt(3), 1e-3 / Math.sqrt(12), 0.01), 9)
    expect(current.u).toBeCloseTo(Math.hypot((0.5 * 5e-4 + 2 * 5e-4) / Math.sqrt(3), 1e-5 / Math.sqrt(12), 1e-4), 12)
    // Volts times amperes of those ranges: 600 W.
    expect(power.u).toBeCloseTo(Math.hypot((40 * 8e-4 + 600 * 5e-4) / Math.sqrt(3), 600e-6 / Math.sqrt(12), 600 * 2e-5), 9)
    expect(frequencyHz.u).toBeCloseTo(Math.hypot(50 * 1e-4 / Math.sqrt(3), 1e-3 / Math.sqrt(12)), 9)
  })

  it('believes no watts while volts or amperes are beyond their range', async () => {
    const { current, power } = await read('+2.300000E+02,+9.900000E+37,+4.000000E+01,+5.000000E+01')
    expect([current.quality, power.quality, power.value]).toEqual(['over-range', 'over-range', Infinity])
  })

  it('believes no RMS value below zero, and tells watts that flow back', async () => {
    const { voltage, power } = await read('-2.300000E+02,+5.000000E-01,-4.000000E+01,+5.000000E+01')
    expect([voltage.quality, power.quality, power.value]).toEqual(['implausible', 'good', -40])
  })

  it('fails on another number of fields', async () => {
    await expect(read('+2.3E+02,+5.0E-01,+4.0E+01')).rejects.toEqual(failsWith('ANSWER_FORM'))
  })
})

describe('profiles of unit instruments', () => {
  const problems = (profile: unknown): string[] => {
    const parsed = parseWith(instrumentProfile, profile, { file: 'p' })
    return parsed.ok ? [] : parsed.problems.map(problem => problem.path)
  }
  type Loose = Record<string, Record<string, unknown>> & { ways: Record<string, unknown>[]; tones: Record<string, unknown>[] }
  const copy = (profile: InstrumentProfile): Loose => JSON.parse(JSON.stringify(profile)) as Loose
  const changed = (profile: InstrumentProfile, change: (copy: Loose) => void): string[] => {
    const made = copy(profile)
    change(made)
    return problems(made)
  }

  it('refuse a contactor whose contacts cannot be seen, and ways that cannot be told apart', () => {
    expect(changed(contactor, p => { delete p['safeOff']!['verify'] })).toEqual(['safeOff.verify'])
    expect(changed(contactor, p => { p.ways[1]!['reads'] = 'ser' })).toEqual(['ways'])
    expect(changed(contactor, p => { p.ways[1]!['name'] = 'full' })).toEqual(['ways'])
    expect(changed(contactor, p => { delete p.ways[0]!['seriesW'] })).toEqual(['ways[0].seriesW'])
    expect(changed(contactor, p => { p['commands']!['refresh'] = 'MAIN:CLOS FULL' })).toEqual(['commands.refresh'])
  })

  it('refuse lines that do not say which of several channels they mean', () => {
    expect(changed(a, p => { p['commands']!['setOutput'] = 'OUTP {on}' })).toEqual(['commands.setOutput'])
    expect(changed(a, p => { p.tones[0]!['askLevel'] = 'SOUR:TONE1:VOLT?' })).toEqual(['tones[0].askLevel'])
    expect(changed(shippedProfile('load-bank-a', 'load-bank'), p => { p['commands']!['open'] = 'LOAD:OPEN' })).toEqual(['commands.open'])
    expect(changed(shippedProfile('digitizer-b', 'digitizer'), p => { p['scaling']!['ask'] = 'DATA:PRE?' })).toEqual(['scaling.ask'])
  })

  it('take lines without a channel where there is one', () => {
    expect(changed(b, p => {
      Object.assign(p, { channels: [1] })
      Object.assign(p['commands']!, { setOutput: 'OUTP {on}', askOutput: 'OUTP?' })
    })).toEqual([])
  })

  it('refuse a record that is longer than an answer may be, unless it comes in pieces', () => {
    const whole = shippedProfile('digitizer-b', 'digitizer')
    expect(changed(whole, p => { p['link']!['answerBytesMax'] = 131_000 })).toEqual(['link.answerBytesMax'])
    expect(changed(shippedProfile('digitizer-a', 'digitizer'), p => { p['link']!['answerBytesMax'] = 4096 })).toEqual([])
    expect(changed(shippedProfile('digitizer-a', 'digitizer'), p => { p['commands']!['fetch'] = 'TRAC:DATA? {channel}' })).toEqual(['link.answerBytesMax'])
    expect(changed(shippedProfile('digitizer-a', 'digitizer'), p => { p['commands']!['fetch'] = 'TRAC:DATA? {channel},{count}' })).toHaveLength(1)
  })

  it('refuse a power meter that does not tell all four, and a generator whose mute cannot be seen', () => {
    expect(changed(shippedProfile('power-meter-a', 'power-meter'), p => { Object.assign(p, { fields: ['voltage', 'current', 'power', 'ignored'] }) })).toEqual(['commands.measure'])
    expect(changed(shippedProfile('power-meter-b', 'power-meter'), p => { delete p['commands']!['askFrequency'] })).toEqual(['commands.measure'])
    expect(changed(a, p => { delete p['safeOff']!['verify'] })).toEqual(['safeOff.verify'])
    expect(changed(a, p => {
      Object.assign(p['level']!, { minV: 0.01 })
      delete p.tones[1]!['enable']
      delete p.tones[1]!['askEnabled']
    })).toEqual(['tones[1].enable'])
  })

  it('need a section of their own to read RMS volts', () => {
    expect(() => createDriver('ac-meter', shippedProfile('multimeter-5d-b', 'multimeter'), scriptedPort({}), new VirtualClock())).toThrow(/alternating/)
  })
})
