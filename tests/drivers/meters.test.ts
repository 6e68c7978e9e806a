import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { BridgeDriver } from '../../src/drivers/bridge.ts'
import { ThermometerDriver } from '../../src/drivers/thermometer.ts'
import { VoltmeterDriver } from '../../src/drivers/voltmeter.ts'
import { scriptedPort, shippedProfile, type ScriptedPort } from './scripted-port.ts'

const failsWith = (code: string) => expect.objectContaining({ code }) as Error

function meterA(answers: ScriptedPort['answers'] = {}) {
  const port = scriptedPort(
    { 'VOLT:DC:RANG:AUTO?': '1', 'VOLT:DC:RANG?': '10', 'VOLT:DC:NPLC?': '1', ...answers }
  )
  return { port, meter: new VoltmeterDriver(
    shippedProfile('multimeter-6d-a', 'multimeter'), port, new VirtualClock()
  ) }
}

function meterB(answers: ScriptedPort['answers'] = {}) {
  const port = scriptedPort({ 'SENS:VOLT:DC:RANG?': '30', 'SENS:VOLT:DC:NPLC?': '1', ...answers })
  return { port, meter: new VoltmeterDriver(
    shippedProfile('multimeter-5d-b', 'multimeter'), port, new VirtualClock()
  ) }
}

describe('a voltmeter', () => {
  it('sets the smallest range that holds the value, and the integration after it', async () => {
    const { port, meter } = meterA()
    await meter.configure({ rangeV: 2, nplc: 1 })
    expect(port.sent).toEqual(['CONF:VOLT:DC 10', 'VOLT:DC:RANG?', 'VOLT:DC:NPLC 1', 'VOLT:DC:NPLC?'])
    expect(meter.readingMs).toBe(43)
  })

  it('takes the next slower speed for one it does not have', async () => {
    const { port, meter } = meterA({ 'VOLT:DC:NPLC?': '10' })
    await meter.configure({ rangeV: 10, nplc: 2 })
    expect(port.sent).toContain('VOLT:DC:NPLC 10')
    expect(meter.readingMs).toBe(403)
  })

  it('refuses range and speed before anything is sent, and a setting that did not take', async () => {
    const { port, meter } = meterA()
    await expect(meter.configure({ rangeV: 1001, nplc: 1 })).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    await expect(meter.configure({ rangeV: 10, nplc: 101 })).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    await expect(meter.configure({ rangeV: NaN, nplc: 1 })).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    expect(port.sent).toEqual([])
    await expect(meter.configure({ rangeV: 100, nplc: 1 })).rejects.toEqual(failsWith('READ_BACK'))
  })

  it('reads with the uncertainty of the range that is set', async () => {
    const { meter } = meterA({ 'READ?': '+4.99468866E+00' })
    await meter.configure({ rangeV: 10, nplc: 1 })
    const { value, u, quality } = await meter.readVoltage()
    expect({ value, quality }).toEqual({ value: 4.99468866, quality: 'good' })
    const limit = 4.99468866 * 0.0035e-2 + 10 * 0.0006e-2
    expect(u).toBeCloseTo(Math.hypot(limit / Math.sqrt(3), 10 * 3e-6 / Math.sqrt(12), 10 * 3.6e-6), 12)
  })

  it('ranging by itself, uses the accuracy of the smallest range that holds the value', async () => {
    const { meter } = meterA({ 'READ?': ['0.05', '0.5', '450'] })
    await meter.configure({ rangeV: 'auto', nplc: 1 })
    const [low, middle, high] = [
      await meter.readVoltage(), await meter.readVoltage(), await meter.readVoltage()
    ]
    expect(low.u).toBeCloseTo(Math.hypot(
      (0.05 * 0.005e-2 + 0.1 * 0.004e-2) / Math.sqrt(3), 3e-7 / Math.sqrt(12), 3.6e-7), 15)
    expect(low.u).toBeLessThan(middle.u)
    expect(middle.u).toBeLessThan(high.u)
  })

  it('tells over-range by sentinel, by word and by a value no range can hold, keeping the sign', async () => {
    const { meter } = meterA({ 'READ?': ['+9.90000000E+37', '-9.9E+37', '+9.91000000E+37', '13.5'] })
    await meter.configure({ rangeV: 10, nplc: 1 })
    expect(await meter.readVoltage()).toMatchObject({ quality: 'over-range', value: Infinity })
    expect(await meter.readVoltage()).toMatchObject({ quality: 'over-range', value: -Infinity })
    expect(await meter.readVoltage()).toMatchObject({ quality: 'not-a-number', value: NaN })
    expect(await meter.readVoltage()).toMatchObject({ quality: 'over-range' })
    const other = meterB({ 'MEAS?': ['OVLD', '-OVLD', '+12.3456 VDC'] })
    await other.meter.configure({ rangeV: 30, nplc: 1 })
    expect(await other.meter.readVoltage()).toMatchObject({ quality: 'over-range', value: Infinity })
    expect(await other.meter.readVoltage()).toMatchObject({ quality: 'over-range', value: -Infinity })
    expect(await other.meter.readVoltage()).toMatchObject({ quality: 'good', value: 12.3456 })
  })

  it('fails on an answer that is no number at all', async () => {
    const { meter } = meterA({ 'READ?': ['=>', '0x10', '5 A', '', '1,2', 'NaNa'] })
    for (let i = 0; i < 6; i++) await expect(meter.readVoltage()).rejects.toEqual(failsWith('ANSWER_FORM'))
  })

  it('allows a slow reading its time', async () => {
    const { port, meter } = meterA({ 'READ?': '1', 'VOLT:DC:NPLC?': '100' })
    await meter.configure({ rangeV: 10, nplc: 100 })
    await meter.readVoltage()
    expect(port.deadlines.at(-1)).toBeGreaterThan(4003)
  })

  it('stamps a reading with the time it was asked for, so that it is never newer than it is', async () => {
    const clock = new VirtualClock()
    const port = scriptedPort({})
    port.query = async () => { await new Promise<void>(resolve => clock.after(40, resolve)); return '1.0' }
    const meter = new VoltmeterDriver(shippedProfile('multimeter-6d-a', 'multimeter'), port, clock)
    expect((await clock.run(meter.readVoltage())).atMs).toBe(0)
  })
})

function bridgeA(answers: ScriptedPort['answers'] = {}) {
  const port = scriptedPort(
    { 'FUNC:IMP?': 'CSRS', 'FREQ?': '+1.20000E+02', 'VOLT?': '+5.00000E-01', ...answers }
  )
  return {
    port, bridge: new BridgeDriver(shippedProfile('lcr-bridge-a', 'lcr-bridge'), port, new VirtualClock()),
  }
}

function bridgeB(answers: ScriptedPort['answers'] = {}) {
  const port = scriptedPort(
    { 'FUNC:IMPA?': 'C', 'FUNC:IMPB?': 'D', 'FUNC:EQU?': 'SER', 'FREQ?': '120', ...answers }
  )
  return {
    port, bridge: new BridgeDriver(shippedProfile('lcr-bridge-b', 'lcr-bridge'), port, new VirtualClock()),
  }
}

const setup = { frequencyHz: 120, levelV: 0.5 }

describe('a bridge', () => {
  it('throws away the reading after a change and keeps the next', async () => {
    const { port, bridge } = bridgeA(
      { 'FETC?': ['+4.0E-05,+9,+0', '+4.70000E-05,+1.23000E+00,+0', '+4.7E-05,+1.2,+0'] }
    )
    const first = await bridge.measure(setup)
    expect(first.capacitance).toMatchObject({ value: 47e-6, quality: 'good' })
    expect(first.esr).toMatchObject({ value: 1.23, quality: 'good' })
    expect(port.sent).toEqual(['FREQ 120', 'FREQ?', 'VOLT 0.5', 'VOLT?', 'TRIG', 'FETC?', 'TRIG', 'FETC?'])
    port.sent.length = 0
    await bridge.measure(setup)
    expect(port.sent).toEqual(['TRIG', 'FETC?'])
  })

  it('gives D from C and R, and R from C and D, to the same figures', async () => {
    // ESR = tan d / (2 pi f C): tan d 0.16, 1000 uF, 120 Hz gives 0.2122 ohm (maker data sheet, radial
    // general purpose)
    const fromR = await bridgeA({ 'FETC?': '+1.0E-03,+0.2122066,+0' }).bridge.measure(setup)
    expect(fromR.dissipation.value).toBeCloseTo(0.16, 6)
    const fromD = await bridgeB({ 'FETC?': '1.0000e-03,0.1600' }).bridge.measure(setup)
    expect(fromD.esr.value).toBeCloseTo(0.2122, 4)
  })

  it('widens the uncertainty where the impedance leaves the middle of its range', async () => {
    const relative = async (c: number) => {
      const { capacitance } = await bridgeA({ 'FETC?': `${c.toExponential(6)},0,+0` }).bridge.measure(setup)
      return capacitance.u / capacitance.value
    }
    const middle = await relative(1e-6)
    expect(await relative(1e-10)).toBeGreaterThan(2 * middle)
    expect(await relative(0.1)).toBeGreaterThan(2 * middle)
    // |Z| 1326.3 ohm: 0.1 %·(1 + 0.1/1326.3 + 1326.3e-6)/sqrt 3, and six digits; by hand from the profile
    expect(middle).toBeCloseTo(
      Math.hypot(0.001 * (1 + 0.1 / 1326.29 + 1326.29e-6) / Math.sqrt(3), 1e-5 / Math.sqrt(12)), 9
    )
  })

  it('looks at the status before the numbers', async () => {
    const quality = async (line: string) =>
      (await bridgeA({ 'FETC?': line }).bridge.measure(setup)).capacitance
    expect(await quality('+9.9E+37,+9.9E+37,+1')).toMatchObject({ quality: 'over-range', value: NaN })
    expect(await quality('+9.9E+37,+9.9E+37,-1')).toMatchObject({ quality: 'missing' })
    expect(await quality('+4.7E-05,+1.2,+2')).toMatchObject({ quality: 'implausible', value: NaN })
    expect(await quality('+4.7E-05,+1.2,+0')).toMatchObject({ quality: 'good' })
  })

  it('takes words and negative figures for faults', async () => {
    expect((await bridgeB({ 'FETC?': 'OL,OL' }).bridge.measure(setup)).capacitance.quality).toBe('over-range')
    expect((await bridgeB({ 'FETC?': '----,----' }).bridge.measure(setup)).esr.quality).toBe('missing')
    expect(
      (await bridgeB({ 'FETC?': '-4.7e-05,0.1' }).bridge.measure(setup)).capacitance.quality
    ).toBe('implausible')
    const lossless = await bridgeA({ 'FETC?': '+4.7E-05,-2.0,+0' }).bridge.measure(setup)
    expect(lossless.esr.quality).toBe('implausible')
    expect(lossless.capacitance.quality).toBe('good')
    await expect(
      bridgeB({ 'FETC?': '4.7e-05' }).bridge.measure(setup)
    ).rejects.toEqual(failsWith('ANSWER_FORM'))
  })

  it('refuses what it cannot do before anything is sent', async () => {
    for (const { port, bridge } of [bridgeA(), bridgeB()]) {
      await expect(
        bridge.measure({ frequencyHz: 1e6, levelV: 0.5 })
      ).rejects.toEqual(failsWith('OUT_OF_RANGE'))
      await expect(bridge.measure({ frequencyHz: 120, levelV: 5 })).rejects.toEqual(failsWith('OUT_OF_RANGE'))
      expect(port.sent).toEqual([])
    }
  })

  it('sets up again after a setting failed, and refuses a function that did not take', async () => {
    const { port, bridge } = bridgeA({ 'FREQ?': ['1000', '120'], 'FETC?': '+4.7E-05,+1.2,+0' })
    await expect(bridge.measure(setup)).rejects.toEqual(failsWith('READ_BACK'))
    await bridge.measure(setup)
    expect(port.sent.filter(command => command === 'FREQ 120')).toHaveLength(2)
    await expect(bridgeB({ 'FUNC:EQU?': 'PAR' }).bridge.prepare()).rejects.toEqual(failsWith('READ_BACK'))
  })
})

describe('a thermometer', () => {
  const profile = shippedProfile('thermometer-a', 'thermometer')
  it('reads degrees with their uncertainty, and tells open and shorted sensors', async () => {
    const port = scriptedPort({ 'MEAS:TEMP? 3': ['23.41 C', 'OPEN', 'SHORT', '400.0 C'] })
    const thermometer = new ThermometerDriver(profile, port, new VirtualClock())
    const reading = await thermometer.readTemperature(3)
    expect(reading).toMatchObject({ value: 23.41, quality: 'good' })
    expect(reading.u).toBeCloseTo(Math.hypot((0.02341 + 0.3) / Math.sqrt(3), 0.01 / Math.sqrt(12), 0.02), 12)
    expect((await thermometer.readTemperature(3)).quality).toBe('missing')
    expect((await thermometer.readTemperature(3)).quality).toBe('implausible')
    expect((await thermometer.readTemperature(3)).quality).toBe('implausible')
  })

  it('refuses a channel it has not before anything is sent', async () => {
    const port = scriptedPort({})
    const thermometer = new ThermometerDriver(profile, port, new VirtualClock())
    for (const channel of [0, 65, 1.5, NaN]) {
      await expect(thermometer.readTemperature(channel)).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    }
    expect(port.sent).toEqual([])
  })
})
