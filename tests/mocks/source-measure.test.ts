import { readFileSync } from 'node:fs'
import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { parse } from 'yaml'
import type { Limits } from '../../mocks/instruments/accuracy.ts'
import type { InstrumentSetup } from '../../mocks/instruments/instrument.ts'
import { Multimeter, type MeterProfile } from '../../mocks/instruments/multimeter.ts'
import { SourceMeasure, type SourceProfile } from '../../mocks/instruments/source-measure.ts'
import { sourceFigures } from '../../mocks/instruments/source-specifications.ts'
import { ohmFigures } from '../../mocks/instruments/specifications.ts'
import { packageFile } from '../../src/base/paths.ts'
import { rig } from './rig.ts'

/** Terminals that show what they are told, with the current or volts that the test names. */
function source(profile: SourceProfile, over: Partial<InstrumentSetup> = {}) {
  const circuit = { volts: 0, amps: 0, limited: false, set: { mode: 'voltage', value: 0, limit: 0, on: false } }
  const made = rig(setup => new SourceMeasure(profile, setup, {
    operate: setting => { circuit.set = setting }, volts: () => circuit.volts, amps: () => circuit.amps,
    limited: () => circuit.limited,
  }), over)
  return { circuit, ...made }
}

describe('source-measure unit a', () => {
  test('answers as its page writes them', async () => {
    const { ask, circuit } = source('source-measure-a')
    expect(await ask('SOUR:FUNC:MODE?')).toBe('VOLT')
    expect(await ask('READ?')).toBe('+9.910000E+37,+9.910000E+37,+0')
    for (const line of ['SOUR:VOLT -1.5', 'SENS:CURR:PROT 0.002', 'OUTP ON']) await ask(line)
    expect(await ask('SOUR:VOLT?')).toBe('-1.500000E+00')
    expect(await ask('SENS:CURR:PROT?')).toBe('+2.000000E-03')
    expect(circuit.set).toMatchObject({ mode: 'voltage', on: true })
    expect(circuit.set.value).toBeCloseTo(-1.5, 2)
    expect(circuit.set.limit).toBeCloseTo(0.002, 5)
    Object.assign(circuit, { volts: -1.5, amps: -12.3e-9 })
    expect(await ask('READ?')).toMatch(/^-1\.(49|50)\d{4}E\+00,-1\.2\d{5}E-08,\+1$/)
    circuit.limited = true
    expect(await ask('READ?')).toMatch(/,\+9$/)
    await ask('OUTP OFF')
    expect(circuit.set.on).toBe(false)
    expect(await ask('SYST:ERR?')).toBe('0,"No error"')
  })

  test('refuses what is beyond it and changes nothing', async () => {
    const { ask, circuit } = source('source-measure-a')
    for (const line of ['SOUR:VOLT 20.1', 'SOUR:VOLT -20.1', 'SOUR:CURR 0.11', 'SENS:CURR:PROT 0', 'SENS:NPLC 3', 'OUTP 1']) {
      const before = JSON.stringify(circuit.set)
      await ask(line)
      expect(await ask('SYST:ERR?'), line).toMatch(/^-(222|104)/)
      expect(JSON.stringify(circuit.set)).toBe(before)
    }
  })

  test('forgets everything and goes off with its power', async () => {
    const { ask, circuit, instrument } = source('source-measure-a')
    for (const line of ['SOUR:FUNC:MODE CURR', 'SOUR:CURR 0.01', 'SENS:VOLT:PROT 10', 'OUTP ON']) await ask(line)
    expect(circuit.set).toMatchObject({ mode: 'current', on: true })
    instrument.device.faults.set({ kind: 'power-cycle' })
    expect(circuit.set).toMatchObject({ mode: 'voltage', on: false })
  })

  test('stays on, runs away and lies when that is its fault', async () => {
    const { ask, circuit, instrument } = source('source-measure-a')
    for (const line of ['SOUR:VOLT 1', 'OUTP ON']) await ask(line)
    instrument.device.faults.set({ kind: 'output-stays-on' })
    await ask('OUTP OFF')
    expect([await ask('OUTP?'), circuit.set.on]).toEqual(['0', true])
    instrument.device.faults.clear()
    expect(circuit.set.on).toBe(false)
    instrument.device.faults.set({ kind: 'output-runaway', value: 21 })
    expect(circuit.set.value).toBe(21)
    instrument.device.faults.set({ kind: 'read-back-lies', value: 7 })
    expect(await ask('SOUR:VOLT?')).toBe('+7.000000E+00')
  })

  test('one reading takes two conversions and 2 ms', async () => {
    const { instrument, clock, ask } = source('source-measure-a')
    await ask('OUTP ON')
    let answeredAtMs = 0
    const from = clock.monotonicMs()
    instrument.receive(Buffer.from('READ?\n'), () => { answeredAtMs = clock.monotonicMs() })
    await clock.advance(500)
    expect(answeredAtMs - from).toBe(2 + 2 * 20 + 2)
  })
})

describe('source-measure unit b', () => {
  test('answers as its page writes them, only after SYST:REM', async () => {
    const { ask, circuit } = source('source-measure-b')
    await ask('VOLT:LEV 5')
    expect(await ask('SYST:ERR?')).toMatch(/^-201/)
    expect(await ask('MEAS?')).toBe('OFF,OFF')
    for (const line of ['SYST:REM', 'FUNC CURR', 'CURR:LEV 0.0025', 'VOLT:LIM 12.34', 'OUTP:STAT 1']) await ask(line)
    expect(await ask('CURR:LEV?')).toBe('0.00250000')
    expect(await ask('VOLT:LIM?')).toBe('12.340')
    Object.assign(circuit, { volts: 12.3, amps: 0.0021, limited: true })
    expect(await ask('MEAS?')).toMatch(/^12\.(29|30|31)\d\d V,0\.00(209|210)\d{4} A$/)
    expect([await ask('VOLT:LIM:STAT?'), await ask('CURR:LIM:STAT?')]).toEqual(['1', '0'])
    circuit.amps = -1.2
    expect(await ask('MEAS?')).toMatch(/ V,-OL$/)
    await ask('VOLT:LIM 61')
    expect(await ask('SYST:ERR?')).toMatch(/^120/)
  })
})

test('a source forces and reads within its specification and its noise, for every specimen', () => {
  const profiles = fc.constantFrom<SourceProfile>('source-measure-a', 'source-measure-b')
  const value = fc.tuple(fc.double({ min: -8, max: 0, noNaN: true }), fc.boolean())
  fc.assert(fc.property(profiles, fc.integer(), value, (profile, seed, [decades, negative]) => {
    const { instrument: { core }, circuit } = source(profile, { seed })
    for (const quantity of ['voltage', 'current'] as const) {
      const ranges = sourceFigures[profile][quantity]
      const truth = (negative ? -1 : 1) * ranges.at(-1)!.size * 10 ** decades
      const range = ranges.find(({ size }) => Math.abs(truth) <= size)!
      const allowed = (limits: Limits, extra: number): number =>
        Math.abs(truth) * limits.ofReading + range.size * limits.ofRange + extra
      core.setMode(quantity)
      core.setValue(quantity, truth)
      core.setOutput(true)
      expect(Math.abs(circuit.set.value - truth)).toBeLessThanOrEqual(allowed(range.set, range.step))
      Object.assign(circuit, { volts: truth, amps: truth })
      expect(Math.abs(core.read()![quantity] - truth)).toBeLessThanOrEqual(allowed(range.read, 7 * range.noise))
    }
  }), { numRuns: 300 })
})

/** A resistor that the meter pushes its current through, and volts of its own. */
function ohmMeter(profile: MeterProfile, ohm: number, over: Partial<InstrumentSetup> = {}) {
  return rig(setup => new Multimeter(profile, setup, {
    volts: () => 2.5, push: (currentA, openV) => Math.min(openV, currentA * ohm),
  }), over)
}

describe('a multimeter that measures resistance', () => {
  test('a switches by CONF between volts and ohms, each with a range of its own', async () => {
    const { ask } = ohmMeter('multimeter-6d-a', 470)
    for (const line of ['SYST:REM', 'CONF:VOLT:DC 10', 'CONF:RES 1000']) await ask(line)
    expect([await ask('FUNC?'), await ask('RES:NPLC?')]).toEqual(['"RES"', '+1.00000000E+01'])
    expect(await ask('READ?')).toMatch(/^\+4\.(69|70)\d{6}E\+02$/)
    expect(await ask('VOLT:DC:RANG?')).toBe('+1.00000000E+01')
    await ask('CONF:VOLT:DC 10')
    expect(await ask('READ?')).toMatch(/^\+2\.(49|50)\d{6}E\+00$/)
    await ask('CONF:FRES AUTO')
    expect([await ask('FUNC?'), await ask('FRES:RANG:AUTO?')]).toEqual(['"FRES"', '1'])
    await ask('RES:RANG 1E6')
    expect([await ask('FUNC?'), await ask('RES:RANG?')]).toEqual(['"FRES"', '+1.00000000E+06'])
    await ask('*RST')
    expect(await ask('FUNC?')).toBe('"VOLT"')
  })

  test('b switches by its function, both ways, and names the unit', async () => {
    const { ask } = ohmMeter('multimeter-5d-b', 470)
    for (const line of ['SENS:FUNC "RES"', 'SENS:RES:RANG 3000', 'SENS:RES:NPLC 1']) await ask(line)
    expect(await ask('MEAS?')).toMatch(/^\+(469|470)\.\d\d OHM\r\n=>$/)
    await ask('SENS:FUNC "VOLT:DC"')
    expect(await ask('MEAS?')).toMatch(/^\+2\.[45]\d+ VDC\r\n=>$/)
    expect(await ask('SENS:RES:RANG?')).toBe('3000\r\n=>')
    await ask('*CLS')
    await ask('SENS:FUNC "FRES"')
    expect(await ask('*ESR?')).toBe('16\r\n=>')
  })

  test('ranges by itself by what its own test current drops, and tells open', () => {
    for (const profile of ['multimeter-6d-a', 'multimeter-5d-b'] as const) {
      for (const ohm of [0.5, 82, 1.5e3, 47e3, 680e3, 10e6]) {
        const { instrument } = ohmMeter(profile, ohm)
        expect(Math.abs(instrument.ohms.read() / ohm - 1)).toBeLessThan(0.08)
      }
      expect(ohmMeter(profile, Infinity).instrument.ohms.read()).toBe(Infinity)
      expect(rig(setup => new Multimeter(profile, setup, { volts: () => 0 })).instrument.ohms.read()).toBe(Infinity)
    }
  })

  test('reads within its specification and its noise, for every specimen', () => {
    fc.assert(fc.property(
      fc.constantFrom<MeterProfile>('multimeter-6d-a', 'multimeter-5d-b'), fc.integer(),
      fc.double({ min: 0, max: 7.3, noNaN: true }), (profile, seed, decades) => {
        const ohm = 10 ** decades
        const { instrument } = ohmMeter(profile, ohm, { seed })
        const range = ohmFigures[profile].ranges.find(r => ohm <= r.rangeOhm * r.overRange)!
        instrument.ohms.fixRange(range.rangeOhm)
        const { ofReading, ofRange } = range.limits
        const read = instrument.ohms.read()
        const allowed = ofReading * ohm + ofRange * range.rangeOhm + 7 * instrument.ohms.step
        if (Number.isFinite(read)) expect(Math.abs(read - ohm)).toBeLessThanOrEqual(allowed)
        else expect(ohm + allowed).toBeGreaterThan(range.rangeOhm * range.overRange)
      }), { numRuns: 300 })
  })
})

describe('the class figures', () => {
  interface Accuracy { readingPct: number; rangePct?: number }
  type Row = Record<string, number> & { setAccuracy: Accuracy; readAccuracy: Accuracy; accuracy: Accuracy }
  const profile = (name: string) =>
    parse(readFileSync(packageFile('profiles', 'instruments', `${name}.yaml`), 'utf8')) as Record<string, Row[]> & { resistance: { ranges: Row[] } }
  const close = (limits: Limits, { readingPct, rangePct = 0 }: Accuracy): void => {
    expect(limits.ofReading).toBeCloseTo(readingPct / 100, 12)
    expect(limits.ofRange).toBeCloseTo(rangePct / 100, 12)
  }

  test.each(Object.entries(sourceFigures))('of %s are those of its profile', (name, figures) => {
    const p = profile(name)
    for (const [quantity, unit] of [['voltage', 'V'], ['current', 'A']] as const) {
      const rows = p[`${quantity}Ranges`]!
      expect(figures[quantity].map(r => [r.size, r.overRange, r.step, r.readStep, r.noise])).toEqual(rows.map(r =>
        [r[`range${unit}`], 1 + (r['overRangePct'] ?? 0) / 100, r[`step${unit}`], r[`readStep${unit}`], r[`readNoise${unit}`]]))
      figures[quantity].forEach((range, i) => {
        close(range.set, rows[i]!.setAccuracy)
        close(range.read, rows[i]!.readAccuracy)
      })
    }
    const { limitMinV, limitMinA, integrations, noiseNplc, overheadMs } = figures
    expect(p).toMatchObject({ limitMinV, limitMinA, integrations, noiseNplc, overheadMs })
  })

  test.each(Object.entries(ohmFigures))('of the ohms of %s are those of its profile', (name, figures) => {
    const rows = profile(name).resistance.ranges
    expect(figures.ranges.map(r => [r.rangeOhm, r.testCurrentA, r.openV, r.overRange])).toEqual(
      rows.map(r => [r['rangeOhm'], r['testCurrentA'], r['openV'], 1 + r['overRangePct']! / 100]))
    figures.ranges.forEach((range, i) => close(range.limits, rows[i]!.accuracy))
  })
})
