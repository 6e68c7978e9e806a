import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { LcrBridge } from '../../mocks/instruments/lcr-bridge.ts'
import { Multimeter, type MeterProfile } from '../../mocks/instruments/multimeter.ts'
import { Thermometer } from '../../mocks/instruments/small-instruments.ts'
import { bridgeFigures, meterFigures, thermometerFigures } from '../../mocks/instruments/specifications.ts'
import type { InstrumentSetup } from '../../mocks/instruments/instrument.ts'
import { rig } from './rig.ts'

function meter(profile: MeterProfile, over: Partial<InstrumentSetup> = {}) {
  const input = { v: 0 }
  return { input, ...rig(setup => new Multimeter(profile, setup, { volts: () => input.v }), over) }
}

describe('multimeter a', () => {
  async function ready() {
    const dut = meter('multimeter-6d-a')
    for (const line of ['SYST:REM', 'CONF:VOLT:DC 10', 'VOLT:DC:NPLC 1']) await dut.ask(line)
    return dut
  }

  test('answers as its page writes them', async () => {
    const { ask, input } = await ready()
    input.v = 4.99468866
    expect(await ask('READ?')).toMatch(/^\+4\.99\d{6}E\+00$/)
    expect(await ask('VOLT:DC:RANG?')).toBe('+1.00000000E+01')
    expect(await ask('VOLT:DC:RANG:AUTO?')).toBe('0')
    expect(await ask('VOLT:DC:NPLC?')).toBe('+1.00000000E+00')
    await ask('CONF:VOLT:DC AUTO')
    expect(await ask('VOLT:DC:NPLC?;RANG:AUTO?')).toBe('+1.00000000E+01;1')
    expect(await ask('SYST:ERR?')).toBe('+0,"No error"')
  })

  test('says over-range with its sign, beyond 120 % and not within', async () => {
    const { ask, input } = await ready()
    input.v = -12.1
    expect(await ask('READ?')).toBe('-9.90000000E+37')
    input.v = 11.9
    expect(await ask('READ?')).toMatch(/^\+1\.1[89]/)
  })

  test('one reading takes two conversions and 3 ms, at 50 and at 60 Hz', async () => {
    const { instrument, clock } = await ready()
    let answeredAtMs = 0
    const from = clock.monotonicMs()
    instrument.receive(Buffer.from('READ?\n'), () => { answeredAtMs = clock.monotonicMs() })
    await clock.advance(500)
    expect(answeredAtMs - from).toBe(1 + 2 * 20 + 3)
    expect(meter('multimeter-6d-a', { mainsHz: 60 }).instrument.core.readingMs).toBeCloseTo(
      10 * 2 * 1000 / 60 + 3, 9
    )
  })

  test('refuses an integration time it does not have', async () => {
    const { ask } = await ready()
    await ask('VOLT:DC:NPLC 7')
    expect(await ask('SYST:ERR?')).toMatch(/^-222/)
    expect(await ask('VOLT:DC:NPLC?')).toBe('+1.00000000E+00')
  })

  test('jumping, gained and stuck readings', async () => {
    const { ask, input, instrument } = await ready()
    const { faults } = instrument.device
    input.v = 4
    faults.set({ kind: 'reading-jump', value: 1 })
    expect(Number(await ask('READ?'))).toBeCloseTo(5, 2)
    faults.clear()
    faults.set({ kind: 'reading-gain', value: 0.5 })
    expect(Number(await ask('READ?'))).toBeCloseTo(2, 2)
    faults.clear()
    faults.set({ kind: 'reading-stuck' })
    const first = await ask('READ?')
    input.v = 6
    expect(await ask('READ?')).toBe(first)
    faults.clear()
    expect(Number(await ask('READ?'))).toBeCloseTo(6, 2)
  })
})

describe('multimeter b', () => {
  test('answers as its page writes them, each with a prompt behind it', async () => {
    const { ask, input } = meter('multimeter-5d-b')
    input.v = 12.3456
    expect(await ask('SENS:FUNC "VOLT:DC"')).toBe('=>')
    await ask('SENS:VOLT:DC:RANG 30')
    await ask('SENS:VOLT:DC:NPLC 1')
    expect(await ask('MEAS?')).toMatch(/^\+12\.34\d\d VDC\r\n=>$/)
    expect(await ask('SENS:VOLT:DC:RANG?')).toBe('30\r\n=>')
    expect(await ask('SENS:VOLT:DC:RANG:AUTO?')).toBe('0\r\n=>')
    input.v = 32
    expect(await ask('MEAS?')).toBe('OVLD\r\n=>')
    input.v = -32
    expect(await ask('MEAS?')).toBe('-OVLD\r\n=>')
  })

  test('has no error queue: the event register tells, and clears', async () => {
    const { ask } = meter('multimeter-5d-b')
    await ask('*CLS')
    expect(await ask('SYST:ERR?')).toBe('=>')
    expect(await ask('*ESR?')).toBe('32\r\n=>')
    await ask('SENS:VOLT:DC:RANG 2000')
    expect(await ask('*ESR?')).toBe('16\r\n=>')
    expect(await ask('*ESR?')).toBe('0\r\n=>')
  })
})

test('a meter reads within its specification and its noise on every range, for every specimen', () => {
  fc.assert(fc.property(
    fc.constantFrom<MeterProfile>('multimeter-6d-a', 'multimeter-5d-b'), fc.integer(), fc.double(
      { min: -990, max: 990, noNaN: true }
    ),
    (profile, seed, volts) => {
      const { instrument, input } = meter(profile, { seed })
      input.v = volts
      const { ranges, speeds } = meterFigures[profile]
      const range = ranges.find(({ rangeV, overRange }) => Math.abs(volts) <= rangeV * overRange)!
      const resolution = speeds.find(([nplc]) => nplc === 10)![1] * range.rangeV
      const { ofReading, ofRange } = range.limits
      const allowedV = ofReading * Math.abs(volts) + ofRange * range.rangeV + 7 * resolution
      const read = instrument.core.read()
      if (Number.isFinite(read)) expect(Math.abs(read - volts)).toBeLessThanOrEqual(allowedV)
      else expect(Math.abs(volts) + allowedV).toBeGreaterThan(range.rangeV * range.overRange)
    }), { numRuns: 300 })
})

describe('bridges', () => {
  const omega = 2 * Math.PI * 120
  const good = { re: 1.5, im: -1 / (omega * 47e-6) }
  function bridge(profile: 'lcr-bridge-a' | 'lcr-bridge-b', over: Partial<InstrumentSetup> = {}) {
    const seen = { z: good }
    return { seen, ...rig(setup => new LcrBridge(profile, setup, { impedance: () => seen.z }), over) }
  }

  test('a measures when it is triggered, and tells open from good by its status', async () => {
    const { ask, seen } = bridge('lcr-bridge-a')
    const setup = ['FUNC:IMP CSRS', 'FREQ 120', 'VOLT 0.5', 'APER LONG', 'TRIG:SOUR BUS']
    for (const line of setup) await ask(line)
    expect(await ask('FETC?')).toBe('+9.90000E+37,+9.90000E+37,-1')
    await ask('TRIG', 10)
    expect(await ask('FETC?', 400)).toBe('')
    await ask('*CLS', 300)
    expect(await ask('FETC?')).toMatch(/^\+4\.[67]\d{4}E-05,\+1\.\d{5}E\+00,\+0$/)
    seen.z = { re: Infinity, im: -Infinity }
    await ask('TRIG')
    expect(await ask('FETC?')).toBe('+9.90000E+37,+9.90000E+37,+1')
    expect(await ask('FREQ?')).toBe('+1.20000E+02')
    expect(await ask('FUNC:IMP?')).toBe('CSRS')
    expect(await ask('SYST:ERR?')).toBe('+0,"No error"')
  })

  test('b echoes, gives C and D, and passes over what it does not know', async () => {
    const { ask, seen } = bridge('lcr-bridge-b')
    expect(await ask('FREQ 120')).toBe('FREQ 120')
    expect(await ask('FREQ 50')).toBe('FREQ 50')
    expect(await ask('FREQ?')).toBe('FREQ?\r\n120')
    const [echo, answer] = (await ask('FETC?')).split('\r\n')
    expect(echo).toBe('FETC?')
    expect(answer).toMatch(/^4\.[67]\d{3}e-05,0\.05\d\d$/)
    seen.z = { re: Infinity, im: 0 }
    expect(await ask('FETC?')).toBe('FETC?\r\nOL,OL')
    expect(await ask('SYST:ERR?')).toBe('SYST:ERR?')
    expect(await ask('FUNC:IMPA?')).toBe('FUNC:IMPA?\r\nC')
  })

  test('every specimen is within its basic accuracy of the impedance', () => {
    const anyProfile = fc.constantFrom('lcr-bridge-a' as const, 'lcr-bridge-b' as const)
    fc.assert(fc.property(anyProfile, fc.integer(), (profile, seed) => {
      const { instrument } = bridge(profile, { seed })
      instrument.core.frequencyHz = 120
      const { capacitanceF, resistanceOhm } = instrument.core.measure()!
      const { basic } = bridgeFigures[profile]
      const share = 0.8 * basic + 6 * basic / 20
      expect(Math.abs(capacitanceF / 47e-6 - 1)).toBeLessThanOrEqual(share * 1.01)
      expect(Math.abs(resistanceOhm - good.re)).toBeLessThanOrEqual(share * Math.hypot(good.re, good.im))
    }))
  })
})

describe('thermometer', () => {
  const dut = (over: Partial<InstrumentSetup> = {}) => rig(
    setup => new Thermometer(setup, { celsius: channel => 20 + channel }), over
  )

  test('reads each channel in °C within its specification', async () => {
    for (let seed = 0; seed < 30; seed++) {
      const { ask } = dut({ seed })
      const answer = await ask('MEAS:TEMP? 3')
      expect(answer).toMatch(/^2[23]\.\d\d C$/)
      const { ofReading, offsetK, noiseK } = thermometerFigures
      expect(Math.abs(parseFloat(answer) - 23)).toBeLessThanOrEqual(ofReading * 23 + offsetK + 4 * noiseK)
    }
  })

  test('says OPEN and SHORT for the channel concerned, and tells of it unasked', async () => {
    const { ask, instrument, clock } = dut()
    let unasked = ''
    instrument.receive(Buffer.from('UNIT:TEMP C\n'), bytes => { unasked += Buffer.from(bytes).toString() })
    instrument.device.faults.set({ kind: 'sensor-open', value: 3, fromMs: 1000 })
    await clock.advance(2000)
    expect(unasked).toBe('! channel 3 open\r\n')
    expect(await ask('MEAS:TEMP? 3')).toBe('OPEN')
    expect(await ask('MEAS:TEMP? 4')).toMatch(/ C$/)
    instrument.device.faults.clear()
    instrument.device.faults.set({ kind: 'sensor-short', value: 4 })
    expect(await ask('MEAS:TEMP? 4')).toBe('SHORT')
    await ask('MEAS:TEMP? 65')
    expect(await ask('SYST:ERR?')).toMatch(/^-222/)
  })
})
