import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { DcSupply } from '../../mocks/instruments/dc-supply.ts'
import { supplyRatings } from '../../mocks/instruments/specifications.ts'
import type { InstrumentSetup } from '../../mocks/instruments/instrument.ts'
import { ResistorLoad, rig } from './rig.ts'

function supplyA(over: Partial<InstrumentSetup> = {}) {
  const load = new ResistorLoad()
  return { load, ...rig(setup => new DcSupply('dc-supply-600v-a', setup, load), over) }
}
function supplyB(over: Partial<InstrumentSetup> = {}) {
  const load = new ResistorLoad()
  return { load, ...rig(setup => new DcSupply('dc-supply-500v-b', setup, load), over) }
}
/** Brings dialect b to an over-voltage trip. */
const trippingB = ['SOUR:VOLT 100', 'SOUR:CURR 0.05', 'OUTP:STAT 1', 'SOUR:VOLT:PROT:LEV 90']

async function onA(volts: number) {
  const bench = supplyA()
  const lines = ['SYST:REM', `VOLT ${volts}`, 'CURR 0.05', 'VOLT:PROT 470', 'VOLT:PROT:STAT ON', 'OUTP ON']
  for (const line of lines) await bench.ask(line)
  return bench
}

describe('dialect a', () => {
  test('answers as its page writes them', async () => {
    const { ask } = await onA(450)
    expect(await ask('VOLT?')).toBe('+4.50000E+02')
    expect(await ask('CURR?')).toBe('+5.00000E-02')
    expect(await ask('OUTP?')).toBe('1')
    expect(await ask('VOLT:PROT?')).toBe('+4.70000E+02')
    expect(await ask('MEAS:VOLT?')).toMatch(/^\+4\.\d{5}E\+02$/)
    expect(await ask('STAT:QUES:COND?')).toBe('2')
    expect(await ask('SYST:ERR?')).toBe('+0,"No error"')
  })

  test('refuses before SYST:REM and out of range, and then stands as it stood', async () => {
    const { ask, load } = supplyA()
    await ask('OUTP ON')
    expect(load.setting.on).toBe(false)
    expect(await ask('SYST:ERR?')).toMatch(/^-201/)
    await ask('SYST:REM')
    await ask('VOLT 601')
    expect(await ask('SYST:ERR?')).toBe('-222,"Data out of range"')
    expect(await ask('VOLT?')).toBe('+0.00000E+00')
    await ask('OUTP 1')
    expect(load.setting.on).toBe(false)
  })

  test('an over-voltage trip switches off and latches, and clearing brings the output back', async () => {
    const { ask, load, instrument } = await onA(450)
    await ask('VOLT:PROT 400')
    expect(load.setting.on).toBe(false)
    expect(await ask('OUTP?')).toBe('0')
    expect(await ask('VOLT:PROT:TRIP?')).toBe('1')
    expect(Number(await ask('STAT:QUES:COND?')) & 512).toBe(512)
    await ask('VOLT 100')
    await ask('VOLT:PROT:CLE')
    expect(load.setting.on).toBe(true)
    expect(instrument.device.effects.list('output').map(effect => effect.value)).toEqual([1, 0, 1])
  })

  test('clearing after output off leaves it off', async () => {
    const { ask, load } = await onA(450)
    await ask('VOLT:PROT 400')
    await ask('OUTP OFF')
    await ask('VOLT:PROT:CLE')
    expect(load.setting.on).toBe(false)
    expect(await ask('VOLT:PROT:TRIP?')).toBe('0')
  })

  test('an over-current must last 50 ms before it trips', async () => {
    const { ask, load, clock } = await onA(100)
    await ask('CURR:PROT 0.005')
    await ask('CURR:PROT:STAT ON')
    load.ohm = 10e3
    await clock.advance(500)
    expect(await ask('CURR:PROT:TRIP?')).toBe('1')
    expect(load.setting.on).toBe(false)
    const calm = await onA(100)
    await calm.ask('CURR:PROT 0.005')
    await calm.ask('CURR:PROT:STAT ON')
    expect(await calm.ask('CURR:PROT:TRIP?')).toBe('0')
    expect(calm.load.setting.on).toBe(true)
  })

  test('the communication watchdog ends after its seconds of silence, not while spoken to', async () => {
    const { ask, load, clock } = await onA(100)
    await ask('SYST:WATC:TIME 5')
    await ask('SYST:WATC:STAT ON')
    for (let i = 0; i < 20; i++) await ask('OUTP?', 1000)
    expect(load.setting.on).toBe(true)
    await clock.advance(5100)
    expect(load.setting.on).toBe(false)
    expect(Number(await ask('STAT:QUES:COND?')) & 2048).toBe(2048)
    await ask('OUTP OFF')
    expect(await ask('STAT:QUES:COND?')).toBe('0')
  })

  test('constant current shows in bit 0', async () => {
    const { ask, load } = await onA(100)
    load.ohm = 100
    expect(await ask('STAT:QUES:COND?')).toBe('1')
  })
})

describe('dialect b', () => {
  test('answers as its page writes them', async () => {
    const { ask } = supplyB()
    const lines = ['SOUR:VOLT 450', 'SOUR:CURR 0.05', 'SOUR:VOLT:PROT:LEV 470', 'OUTP:STAT 1']
    for (const line of lines) await ask(line)
    expect(await ask('SOUR:VOLT?')).toBe('450.00')
    expect(await ask('SOUR:CURR?')).toBe('0.0500')
    expect(await ask('SOUR:VOLT:PROT:LEV?')).toBe('470.0')
    expect(await ask('SOUR:CURR:PROT:LEV?')).toBe('0.440')
    expect(await ask('MEAS:VOLT?')).toMatch(/^4(49|50)\.\d\d V$/)
    expect(await ask('MEAS:CURR?')).toMatch(/^0\.00\d\d A$/)
    expect(await ask('STAT:QUES:COND?')).toBe('0')
    expect(await ask('STAT:OPER:COND?')).toBe('256')
  })

  test('has its own error numbers', async () => {
    const { ask } = supplyB()
    await ask('VOLT:PROT:CLE')
    await ask('SOUR:VOLT 501')
    expect(await ask('SYST:ERR?')).toBe('101,"Command keyword not recognized"')
    expect(await ask('SYST:ERR?')).toBe('120,"Parameter overflow"')
    expect(await ask('SYST:ERR?')).toBe('0,"No error"')
  })

  test('protection is always on, and clearing leaves the output off with its setting at 0', async () => {
    const { ask, load } = supplyB()
    for (const line of trippingB) await ask(line)
    expect(load.setting.on).toBe(false)
    expect(await ask('STAT:QUES:COND?')).toBe('1')
    await ask('SOUR:VOLT 50')
    await ask('OUTP:PROT:CLE')
    expect(load.setting.on).toBe(false)
    expect(await ask('OUTP:STAT?')).toBe('0')
  })
})

describe('faults', () => {
  test('an output that stays on says it is off', async () => {
    const { ask, load, instrument } = await onA(100)
    instrument.device.faults.set({ kind: 'output-stays-on' })
    await ask('OUTP OFF')
    expect(await ask('OUTP?')).toBe('0')
    expect(load.setting.on).toBe(true)
    instrument.device.faults.clear('output-stays-on')
    expect(load.setting.on).toBe(false)
  })

  test('a protection that is broken does not trip', async () => {
    const { ask, load, instrument } = await onA(450)
    instrument.device.faults.set({ kind: 'protection-silent' })
    await ask('VOLT:PROT 400')
    expect(load.setting.on).toBe(true)
  })

  test('dialect b with a clear that restores comes back on by itself', async () => {
    const { ask, load, instrument } = supplyB()
    instrument.device.faults.set({ kind: 'clear-restores-output' })
    for (const line of trippingB) await ask(line)
    await ask('OUTP:PROT:CLE')
    expect(load.setting.on || (await ask('STAT:QUES:COND?')) === '1').toBe(true)
    expect(instrument.device.effects.list('output').map(effect => effect.value)).toEqual([1, 0, 1, 0])
  })

  test('a runaway output leaves its setting at once, and over-voltage protection catches it', async () => {
    const { load, clock, instrument } = await onA(100)
    instrument.device.faults.set({ kind: 'output-runaway', value: 590, fromMs: clock.monotonicMs() + 1000 })
    await clock.advance(999)
    expect(load.outputV()).toBeLessThan(101)
    await clock.advance(250)
    expect(load.setting.on).toBe(false)
  })

  test('stuck readings repeat, healthy ones do not; lying read-back is not the setting', async () => {
    const { ask, instrument } = await onA(100)
    const healthy = new Set<string>()
    for (let i = 0; i < 8; i++) healthy.add(await ask('MEAS:VOLT?'))
    expect(healthy.size).toBeGreaterThan(1)
    instrument.device.faults.set({ kind: 'reading-stuck' })
    const stuck = new Set<string>()
    for (let i = 0; i < 8; i++) stuck.add(await ask('MEAS:VOLT?'))
    expect(stuck.size).toBe(1)
    instrument.device.faults.set({ kind: 'read-back-lies', value: 123 })
    expect(await ask('VOLT?')).toBe('+1.23000E+02')
  })
})

test('every specimen is inside its specification at every setting', async () => {
  const anyVolts = fc.double({ min: 1, max: 500, noNaN: true })
  await fc.assert(fc.asyncProperty(fc.integer(), anyVolts, async (seed, volts) => {
    for (const { make, ratings, lines } of [
      {
        make: supplyA, ratings: supplyRatings['dc-supply-600v-a'],
        lines: ['SYST:REM', `VOLT ${volts}`, 'CURR 0.1', 'OUTP ON'],
      },
      {
        make: supplyB, ratings: supplyRatings['dc-supply-500v-b'],
        lines: [`SOUR:VOLT ${volts}`, 'SOUR:CURR 0.1', 'OUTP:STAT 1'],
      },
    ]) {
      const { ask, load } = make({ seed })
      for (const line of lines) await ask(line)
      const { setVoltage, readVoltage, voltageMaxV, voltageStepV, noiseV, readStepV } = ratings
      expect(Math.abs(load.outputV() - volts)).toBeLessThanOrEqual(
        setVoltage.ofReading * volts + setVoltage.ofRange * voltageMaxV + voltageStepV)
      const read = parseFloat(await ask('MEAS:VOLT?'))
      expect(Math.abs(read - load.outputV())).toBeLessThanOrEqual(
        readVoltage.ofReading * volts + readVoltage.ofRange * voltageMaxV + 5 * noiseV + readStepV)
    }
  }), { numRuns: 40 })
})
