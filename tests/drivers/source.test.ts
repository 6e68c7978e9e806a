import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { createDriver } from '../../src/drivers/create.ts'
import { stepOf } from '../../src/drivers/format.ts'
import { OhmMeterDriver } from '../../src/drivers/ohm-meter.ts'
import { SourceDriver } from '../../src/drivers/source.ts'
import { instrumentProfile } from '../../src/schema/instrument-profile.ts'
import { parseWith } from '../../src/schema/read-file.ts'
import { scriptedPort, shippedProfile, type ScriptedPort } from './scripted-port.ts'

const failsWith = (code: string) => expect.objectContaining({ code }) as Error
const a = shippedProfile('source-measure-a', 'source-measure')

function sourceA(answers: ScriptedPort['answers'] = {}) {
  const port = scriptedPort({
    'SOUR:FUNC:MODE?': 'VOLT', 'SENS:CURR:PROT?': '+1.000000E-03', 'SOUR:VOLT?': '+2.000000E+00', 'OUTP?': '1', ...answers,
  })
  return { port, source: new SourceDriver(a, port, new VirtualClock()) }
}

function sourceB(answers: ScriptedPort['answers'] = {}) {
  const port = scriptedPort(answers)
  return { port, source: new SourceDriver(shippedProfile('source-measure-b', 'source-measure'), port, new VirtualClock()) }
}

const settings = (port: ScriptedPort): string[] => port.sent.filter(line => !line.includes('?'))

describe('a source', () => {
  it('sets the smaller limit before the value, and the greater one after it', async () => {
    const lower = sourceA({ 'SENS:CURR:PROT?': ['+1.000000E-02', '+1.000000E-03'] })
    await lower.source.forceVoltage(2, 0.001)
    expect(settings(lower.port)).toEqual(['SENS:CURR:PROT 0.00100000', 'SOUR:VOLT 2.00000'])
    const higher = sourceA({ 'SENS:CURR:PROT?': ['+1.000000E-03', '+1.000000E-02'] })
    await higher.source.forceVoltage(2, 0.01)
    expect(settings(higher.port)).toEqual(['SOUR:VOLT 2.00000', 'SENS:CURR:PROT 0.0100000'])
  })

  it('goes from volts to amperes with the output off in between, and on again only if it was on', async () => {
    const now = { 'SOUR:FUNC:MODE?': ['VOLT', 'CURR'], 'SENS:VOLT:PROT?': '+3.000000E+00', 'SOUR:CURR?': '-1.000000E-03' }
    const live = sourceA({ ...now, 'OUTP?': ['1', '0', '1'] })
    await live.source.forceCurrent(-0.001, 3)
    expect(settings(live.port)).toEqual(
      ['OUTP OFF', 'SOUR:FUNC:MODE CURR', 'SENS:VOLT:PROT 3.0000', 'SOUR:CURR -0.00100000', 'OUTP ON'])
    const dead = sourceA({ ...now, 'OUTP?': '0' })
    await dead.source.forceCurrent(-0.001, 3)
    expect(settings(dead.port)).not.toContain('OUTP ON')
  })

  it('leaves the output off when a change failed on the way', async () => {
    const { port, source } = sourceA({ 'SOUR:FUNC:MODE?': 'VOLT', 'OUTP?': ['1', '0'] })
    await expect(source.forceCurrent(-0.001, 3)).rejects.toEqual(failsWith('READ_BACK'))
    expect(settings(port)).toEqual(['OUTP OFF', 'SOUR:FUNC:MODE CURR'])
  })

  it('finds the function changed behind its back and changes it again', async () => {
    const { port, source } = sourceA()
    await source.forceVoltage(2, 0.001)
    Object.assign(port.answers, { 'SOUR:FUNC:MODE?': ['CURR', 'VOLT'], 'OUTP?': '0' })
    await source.forceVoltage(2, 0.001)
    expect(settings(port)).toContain('SOUR:FUNC:MODE VOLT')
  })

  it('never sends more than was asked, of either sign', async () => {
    await fc.assert(fc.asyncProperty(
      fc.double({ min: -20, max: 20, noNaN: true }), fc.double({ min: 1e-9, max: 0.1, noNaN: true }),
      async (volts, limit) => {
        const sent: Record<string, number> = {}
        const { port, source } = sourceA()
        port.write = async command => { sent[command.split(' ')[0]!] = Number(command.split(' ')[1]) }
        port.query = async command => command === 'SOUR:FUNC:MODE?' ? 'VOLT' : String(sent[command.slice(0, -1)] ?? 0)
        await source.forceVoltage(volts, limit)
        expect(Math.abs(sent['SOUR:VOLT']!)).toBeLessThanOrEqual(Math.abs(volts) * (1 + 1e-9) + 1e-9)
        expect(Math.abs(sent['SOUR:VOLT']! - volts)).toBeLessThanOrEqual(5e-4)
        expect(sent['SENS:CURR:PROT']!).toBeLessThanOrEqual(limit * (1 + 1e-6) + 1e-17)
      }), { numRuns: 200 })
  })

  it('fails a setting that reads back otherwise', async () => {
    const { source } = sourceA({ 'SOUR:VOLT?': '+2.100000E+00' })
    await expect(source.forceVoltage(2, 0.001)).rejects.toEqual(failsWith('READ_BACK'))
  })

  it('reads each quantity with the accuracy of the smallest range that holds it', async () => {
    const { source } = sourceA({ 'READ?': '+1.900000E+01,+2.500000E-08,+1' })
    const { voltage, current, limited } = await source.measure()
    expect([voltage.value, current.value, limited]).toEqual([19, 25e-9, false])
    const limitV = 19 * 0.015e-2 + 20 * 0.0075e-2
    expect(voltage.u).toBeCloseTo(Math.hypot(limitV / Math.sqrt(3), 1e-4 / Math.sqrt(12), 2e-4), 9)
    const limitA = 25e-9 * 0.06e-2 + 1e-7 * 0.1e-2
    expect(current.u).toBeCloseTo(Math.hypot(limitA / Math.sqrt(3), 1e-12 / Math.sqrt(12), 4e-12), 15)
  })

  it('sees by status bit or by query that the limit holds it', async () => {
    expect((await sourceA({ 'READ?': '+1.0E+00,+1.0E-03,+9' }).source.measure()).limited).toBe(true)
    const b = sourceB({ 'MEAS?': '1.0000 V,0.001000000 A', 'FUNC?': 'CURR', 'VOLT:LIM:STAT?': '1', 'CURR:LIM:STAT?': '0' })
    expect((await b.source.measure()).limited).toBe(true)
    b.port.answers['FUNC?'] = 'VOLT'
    expect((await b.source.measure()).limited).toBe(false)
  })

  it('has no number for what is off, out of range or of another unit', async () => {
    const off = await sourceA({ 'READ?': '+9.91000000E+37,+9.91000000E+37,+0' }).source.measure()
    expect([off.voltage.quality, off.current.quality]).toEqual(['not-a-number', 'not-a-number'])
    const b = { 'FUNC?': 'VOLT', 'CURR:LIM:STAT?': '0' }
    expect((await sourceB({ ...b, 'MEAS?': 'OFF,OFF' }).source.measure()).current.quality).toBe('missing')
    expect((await sourceB({ ...b, 'MEAS?': '-OL,0.0 A' }).source.measure()).voltage)
      .toMatchObject({ quality: 'over-range', value: -Infinity })
    await expect(sourceB({ ...b, 'MEAS?': '1.0 A,0.0 A' }).source.measure()).rejects.toEqual(failsWith('ANSWER_FORM'))
    await expect(sourceB({ ...b, 'MEAS?': '1.0 V' }).source.measure()).rejects.toEqual(failsWith('ANSWER_FORM'))
  })

  it('reads slower with less noise', async () => {
    const { port, source } = sourceA({
      'READ?': '+0.0E+00,+0.0E+00,+0', 'SYST:RSEN?': '1', 'SENS:NPLC?': ['1', '10'],
    })
    await source.configure({ wires: 4, nplc: 1 })
    const fast = await source.measure()
    await source.configure({ wires: 4, nplc: 5 })
    expect(port.sent).toContain('SENS:NPLC 10')
    expect((await source.measure()).current.u).toBeLessThan(fast.current.u)
    expect(source.readingMs).toBe(402)
  })
})

describe('an ohm-meter', () => {
  const meter = shippedProfile('multimeter-6d-a', 'multimeter')
  const ready = { 'RES:RANG?': '1000', 'RES:NPLC?': '1', 'FUNC?': '"RES"', 'FRES:RANG?': '1000', 'FRES:NPLC?': '1' }
  const ohms = (answers: ScriptedPort['answers']) => {
    const port = scriptedPort({ ...ready, ...answers })
    return { port, meter: new OhmMeterDriver(meter, meter.resistance!, port, new VirtualClock()) }
  }

  it('says what it does to a part before it does it', () => {
    const { meter, port } = ohms({})
    expect(meter.stimulus(100)).toEqual({ currentA: 1e-3, openV: 8 })
    expect(meter.stimulus(100.1)).toEqual({ currentA: 1e-3, openV: 8 })
    expect(meter.stimulus(5e6)).toEqual({ currentA: 5e-7, openV: 10 })
    expect(() => meter.stimulus(1e9)).toThrow(/range/)
    expect(port.sent).toEqual([])
  })

  it('fails when the instrument stands in another function', async () => {
    const { meter } = ohms({ 'FUNC?': '"VOLT"' })
    await expect(meter.configure({ rangeOhm: 500, wires: 2, nplc: 1 })).rejects.toEqual(failsWith('READ_BACK'))
    await expect(ohms({}).meter.configure({ rangeOhm: 500, wires: 4, nplc: 1 })).rejects.toEqual(failsWith('READ_BACK'))
  })

  it('takes what is clearly below zero for a part with volts of its own', async () => {
    const { meter } = ohms({ 'READ?': ['-5.00000000E-03', '-1.00000000E+00'] })
    await meter.configure({ rangeOhm: 1000, wires: 2, nplc: 1 })
    expect((await meter.readResistance()).quality).toBe('good')
    expect((await meter.readResistance()).quality).toBe('implausible')
  })

  it('needs a profile that says what it is like', () => {
    const { resistance: _none, ...without } = meter
    expect(() => createDriver('ohm-meter', without, scriptedPort({}), new VirtualClock())).toThrow(/resistance/)
  })
})

describe('the profiles of both', () => {
  const problems = (profile: unknown): string[] => {
    const parsed = parseWith(instrumentProfile, profile, { file: 'p' })
    return parsed.ok ? [] : parsed.problems.map(problem => problem.path)
  }
  const copy = (): Record<string, unknown> & { commands: Record<string, unknown>; answer: Record<string, unknown> } =>
    JSON.parse(JSON.stringify(a))

  it('refuse a source whose limit cannot be seen, and four wires that cannot be read back', () => {
    const blind = copy()
    delete blind.answer['limitedMask']
    expect(problems(blind)).toEqual(['answer.limitedMask'])
    const wires = copy()
    delete wires.commands['askFourWire']
    expect(problems(wires)).toEqual(['commands.askFourWire'])
  })

  it('refuse an ohm range whose test current needs more volts than it has, and none at all', () => {
    const low = JSON.parse(JSON.stringify(shippedProfile('multimeter-5d-b', 'multimeter')))
    low.resistance.ranges[1].openV = 1.5
    expect(problems(low)).toEqual(['resistance.ranges[1].openV'])
    const none = JSON.parse(JSON.stringify(shippedProfile('multimeter-5d-b', 'multimeter')))
    delete none.resistance.commands.twoWire
    expect(problems(none)).toEqual(['resistance.commands'])
  })
})

describe('a grid of settings', () => {
  it('has enough decimals for steps far below one', () => {
    for (const size of [1, 0.5, 0.02, 5e-6, 1e-9, 5e-12]) {
      const step = stepOf(size)
      for (const n of [1, 3, 7, 1000]) expect(Number(step.text(step.floor(n * size)))).toBeCloseTo(n * size, 14)
    }
  })
})
