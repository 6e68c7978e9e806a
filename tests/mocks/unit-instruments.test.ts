/** Simulated instruments around a unit: as their page writes them, and within what their profiles state. */
import { readFileSync } from 'node:fs'
import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { parse } from 'yaml'
import type { Limits } from '../../mocks/instruments/accuracy.ts'
import { SimDigitizer, type RecorderProfile } from '../../mocks/instruments/digitizer.ts'
import { SimLoadBank } from '../../mocks/instruments/load-bank.ts'
import { MainsContactor } from '../../mocks/instruments/mains-contactor.ts'
import { SimPowerMeter, type PowerProfile } from '../../mocks/instruments/power-meter.ts'
import { SimSignalGenerator, type SignalProfile } from '../../mocks/instruments/signal-generator.ts'
import {
  acFigures, contactorFigures, loadFigures, powerFigures, recorderFigures, signalFigures,
} from '../../mocks/instruments/unit-specifications.ts'
import { block } from '../../mocks/instruments/words.ts'
import { packageFile } from '../../src/base/paths.ts'
import { PlainUnit } from '../drivers/plain-unit.ts'
import { rig } from './rig.ts'

const contactor = (unit: PlainUnit) => rig(setup => new MainsContactor(setup, unit))

describe('the contactor in the mains', () => {
  test('answers as its page writes it, and is off unless it is held', async () => {
    const unit = new PlainUnit()
    const { ask, clock } = contactor(unit)
    expect(await ask('MAIN:STAT?')).toBe('OPEN')
    await ask('MAIN:CLOS SER', 100)
    expect([await ask('MAIN:STAT?'), unit.mains?.seriesOhm]).toEqual(['SER', 100])
    for (let i = 0; i < 5; i++) {
      await ask('MAIN:HOLD', 100)
      await clock.advance(2600)
      expect(unit.mains).not.toBeNull()
    }
    await clock.advance(400)
    expect(unit.mains).toBeNull()
    await ask('MAIN:HOLD', 200)
    expect([unit.mains, await ask('SYST:ERR?')]).toEqual([null, '-221,"Settings conflict"'])
  })

  test('never feeds by two ways at once, and forgets a way with its power', async () => {
    const unit = new PlainUnit()
    const { ask, instrument } = contactor(unit)
    const fed: (number | null)[] = []
    unit.setMains = mains => { unit.mains = mains; fed.push(mains?.seriesOhm ?? null) }
    await ask('MAIN:CLOS SER')
    await ask('MAIN:CLOS FULL')
    instrument.device.faults.set({ kind: 'power-cycle' })
    await ask('*IDN?')
    expect(fed).toEqual([100, null, 0, null])
  })

  test('with a live pole that is welded to the full way gives the whole mains by any other', async () => {
    const unit = new PlainUnit()
    const { ask, instrument } = contactor(unit)
    instrument.device.faults.set({ kind: 'relay-welded', value: 'pole' })
    await ask('MAIN:CLOS SER')
    expect([await ask('MAIN:STAT?'), unit.mains]).toEqual(['FAUL', { rmsV: 230, frequencyHz: 50, seriesOhm: 0 }])
    await ask('MAIN:OPEN')
    expect([await ask('MAIN:STAT?'), unit.mains]).toEqual(['FAUL', null])
  })
})

describe('power meters', () => {
  const fed = (profile: PowerProfile, seed: number | string = 1) => {
    const unit = new PlainUnit()
    unit.setMains({ rmsV: 230, frequencyHz: 50, seriesOhm: 0 })
    return { unit, ...rig(setup => new SimPowerMeter(profile, setup, unit), { seed }) }
  }

  test('answer as their page writes them', async () => {
    const a = fed('power-meter-a')
    expect(await a.ask('MEAS:ALL?')).toMatch(/^\+2\.\d{6}E\+02,\+(4\.9|5\.0)\d{5}E-01,\+1\.1\d{5}E\+02,\+(4\.99|5\.00)\d{4}E\+01$/)
    a.unit.mainsOhm = 5
    expect(await a.ask('MEAS:ALL?')).toMatch(/,\+9\.900000E\+37,\+9\.900000E\+37,/)
    a.unit.setMains(null)
    expect(await a.ask('MEAS:ALL?')).toMatch(/\+9\.910000E\+37$/)
    const b = fed('power-meter-b')
    expect(await b.ask('MEAS:VOLT?')).toMatch(/^2[23]\d\.\d\d V$/)
    expect(await b.ask('MEAS:CURR?')).toMatch(/^0\.[45]\d{4} A$/)
    expect(await b.ask('MEAS:POW?')).toMatch(/^11\d\.\d{3} W$/)
    expect(await b.ask('MEAS:FREQ?')).toMatch(/^(49\.9|50\.0)\d HZ$/)
    b.unit.mainsOhm = 5
    expect([await b.ask('MEAS:CURR?'), await b.ask('MEAS:POW?')]).toEqual(['OVER', 'OVER'])
    b.unit.setMains(null)
    expect(await b.ask('MEAS:FREQ?')).toBe('----')
  })

  test('read within their specification and noise, for every specimen', () => {
    fc.assert(fc.property(fc.constantFrom<PowerProfile>('power-meter-a', 'power-meter-b'), fc.integer(), fc.double({ min: 1, max: 4, noNaN: true }), (profile, seed, decades) => {
      const { instrument: { core }, unit } = fed(profile, seed)
      unit.mainsOhm = 10 ** decades * 3
      const truth = unit.mainsNow()
      const { volts, amps, watts } = core.read(truth)
      const { volts: vs, amps: as, power } = powerFigures[profile]
      const inside = (read: number, value: number, size: number, limits: Limits, extra: number): void =>
        expect(Math.abs(read - value)).toBeLessThanOrEqual(value * limits.ofReading + size * limits.ofRange + extra)
      // Near the end of a range it may take the next one: that one's limits hold for both.
      const v = vs.find(range => truth.rmsV <= range.size)!
      const a = as.find(range => truth.rmsA <= range.size)!
      inside(volts, truth.rmsV, v.size, v.limits, 6 * v.noise + v.step)
      inside(amps, truth.rmsA, a.size, a.limits, 6 * a.noise + a.step)
      const size = v.size * a.size
      inside(watts, truth.watts, size, power.limits, (6 * power.noise + power.step) * size)
    }), { numRuns: 200 })
  })
})

describe('signal generators', () => {
  const on = (profile: SignalProfile, over: object = {}) => {
    const unit = new PlainUnit()
    return { unit, ...rig(setup => new SimSignalGenerator(profile, { ...setup, ...over }, unit)) }
  }

  test('answer as their page writes them', async () => {
    const a = on('signal-generator-a')
    for (const line of ['SOUR2:TONE2:FREQ 1234.5678', 'SOUR2:TONE2:VOLT 0.5', 'SOUR2:TONE2:STAT ON', 'OUTP2 ON']) await a.ask(line)
    expect(await a.ask('SOUR2:TONE2:FREQ?')).toBe('+1.234568000E+03')
    expect(await a.ask('SOUR2:TONE2:VOLT?')).toBe('+5.000000E-01')
    expect([await a.ask('OUTP2?'), await a.ask('OUTP1?'), await a.ask('OUTP:ANY?')]).toEqual(['1', '0', '1'])
    await a.ask('OUTP:MUTE:ALL')
    expect([await a.ask('OUTP:ANY?'), a.unit.sourceRmsV(1)]).toEqual(['0', 0])
    await a.ask('SOUR1:TONE1:VOLT 10.1')
    expect(await a.ask('SYST:ERR?')).toMatch(/^-222/)
    const b = on('signal-generator-b')
    await b.ask('OUTP 1,(@1)')
    expect(await b.ask('SYST:ERR?')).toMatch(/^-201/)
    for (const line of ['SYST:REM', 'FREQ 1000,(@1)', 'VOLT 1.414,(@1)', 'OUTP 1,(@1)']) await b.ask(line)
    expect([await b.ask('FREQ? (@1)'), await b.ask('VOLT? (@1)'), await b.ask('OUTP:COUN?')]).toEqual(['1000.00', '1.414 VPP', '1'])
    expect(b.unit.sourceRmsV(0)).toBeCloseTo(0.5, 2)
  })

  test('follow the clock that a cable brings, and their own without', async () => {
    const a = on('signal-generator-a', { reference: () => 7e-6 })
    for (const line of ['SOUR1:TONE1:VOLT 1', 'OUTP1 ON', 'ROSC:SOUR EXT']) await a.ask(line)
    expect(await a.ask('ROSC:LOCK?')).toBe('1')
    expect(a.unit.sources.get(0)!.tones[0]!.frequencyHz).toBeCloseTo(1000 * (1 + 7e-6), 6)
    await a.ask('ROSC:SOUR INT')
    expect(Math.abs(a.unit.sources.get(0)!.tones[0]!.frequencyHz - 1000)).toBeLessThanOrEqual(1000 * 2e-6)
    expect(await on('signal-generator-a').ask('ROSC:LOCK?')).toBe('0')
  })

  test('stay out or give too much when that is their fault, and read back as told', async () => {
    const { ask, unit, instrument } = on('signal-generator-a')
    for (const line of ['SOUR1:TONE1:VOLT 1', 'OUTP1 ON']) await ask(line)
    instrument.device.faults.set({ kind: 'output-stays-on' })
    await ask('OUTP1 OFF')
    expect([await ask('OUTP1?'), Math.round(unit.sourceRmsV(0))]).toEqual(['0', 1])
    instrument.device.faults.clear()
    expect(unit.sourceRmsV(0)).toBe(0)
    instrument.device.faults.set({ kind: 'output-gain', value: 3 })
    await ask('OUTP1 ON')
    expect([await ask('SOUR1:TONE1:VOLT?'), Math.round(unit.sourceRmsV(0))]).toEqual(['+1.000000E+00', 3])
  })
})

describe('digitizers', () => {
  const on = (profile: RecorderProfile, over: object = {}) => {
    const unit = new PlainUnit()
    unit.gain = 1
    const heard = [{ at: 'output', channel: 0 }] as const
    return { unit, ...rig(setup => new SimDigitizer(profile, { ...setup, heard, ...over }, unit)) }
  }

  test('answer as their page writes them', async () => {
    const a = on('digitizer-a')
    a.unit.dcV = 0.25
    for (const line of ['VOLT1:RANG 0.9', 'SWE:RATE 48000', 'SWE:POIN 4', 'FORM ASC', 'INIT']) await a.ask(line)
    expect([await a.ask('VOLT1:RANG?'), await a.ask('SWE:STAT?')]).toEqual(['+1.000000E+00', 'DONE'])
    expect(await a.ask('TRAC:DATA? 1,1,3')).toMatch(/^(\+2\.(49|50)\d{5}E-01,?){3}$/)
    expect(await a.ask('TRAC:DATA? 1,1,4')).toBe('')
    expect(await a.ask('SYST:ERR?')).toMatch(/^-222/)
    await a.ask('ABOR')
    expect([await a.ask('SWE:STAT?'), await a.ask('TRAC:DATA? 1,0,4'), await a.ask('SYST:ERR?')]).toEqual(['IDLE', '', '-230,"Data corrupt or stale"'])
    const b = on('digitizer-b')
    b.unit.dcV = -0.5
    for (const line of ['RANG 1,(@1)', 'RATE 100000', 'LENG 3', 'DATA:WIDT 16', 'RUN']) await b.ask(line)
    expect(await b.ask('RUN:STAT?')).toBe('1')
    await b.ask('TRIG')
    expect(await b.ask('RUN:STAT?')).toBe('2')
    expect(await b.ask('DATA:PRE? (@1)')).toBe('1,0,3,1,+1.000000000E-05,+0.000000000E+00,+0.000000000E+00,+3.051757813E-05,+0.000000000E+00,32768')
    const data = Buffer.from(await b.ask('DATA? (@1)'), 'latin1')
    expect(data.toString('latin1', 0, 3)).toBe('#16')
    // Half of the range below the middle of 65536: 16384.
    expect(Math.abs(data.readUInt16BE(3) - 16384)).toBeLessThan(200)
  })

  test('clip at the range, say so, and distort within their figure below it', async () => {
    const { ask, unit, instrument: { core } } = on('digitizer-a', { noiseFactor: 0 })
    const record = async (peakV: number): Promise<Int32Array> => {
      unit.drive(0, [{ frequencyHz: 3000 * (1 + core.clockError), peakV, phaseRad: 0 }], 0)
      for (const line of ['VOLT1:RANG 1', 'SWE:RATE 48000', 'SWE:POIN 4800', 'INIT']) await ask(line)
      return core.codes(1, 0, 4800)
    }
    const clean = await record(0.99)
    expect(await ask('VOLT1:OVER?')).toBe('0')
    // Sines of 300 periods in the record: their amplitudes by sums over whole periods.
    const amplitude = (order: number): number => {
      const sums = clean.reduce(([sine, cosine], code, i) => {
        const angle = 2 * Math.PI * order * i / 16
        return [sine + code * Math.sin(angle), cosine + code * Math.cos(angle)] as [number, number]
      }, [0, 0] as [number, number])
      return Math.hypot(...sums)
    }
    const share = Math.hypot(amplitude(2), amplitude(3)) / amplitude(1)
    expect(share).toBeGreaterThan(1e-7)
    expect(share).toBeLessThanOrEqual(recorderFigures['digitizer-a'].distortion)
    const clipped = await record(1.05)
    expect([Math.max(...clipped), Math.min(...clipped), await ask('VOLT1:OVER?')]).toEqual([2 ** 23 - 1, -(2 ** 23), '1'])
  })

  test('ties outputs to earth when its inputs are earthed, until it is taken off', () => {
    const { unit, instrument } = on('digitizer-b')
    expect([...unit.earthed]).toEqual([0])
    instrument.core.connect(1, { at: 'input', channel: 0 })
    expect([...unit.earthed]).toEqual([])
    expect([...on('digitizer-a').unit.earthed]).toEqual([])
  })

  test('write words in two\'s complement, any width, either order', () => {
    // Worked out by hand: 1, -1 and -2^23 in three bytes.
    const hex = (swapped: boolean): string =>
      Buffer.from(block([1, -1, -(2 ** 23)], { kind: 'INT', bits: 24, swapped }), 'latin1').toString('hex')
    expect(hex(false)).toBe(`${Buffer.from('#19').toString('hex')}000001ffffff800000`)
    expect(hex(true)).toBe(`${Buffer.from('#19').toString('hex')}010000ffffff000080`)
    expect(Buffer.from(block([1], { kind: 'REAL', bits: 32, swapped: false }), 'latin1').toString('hex')).toBe(`${Buffer.from('#14').toString('hex')}3f800000`)
  })
})

describe('the load bank', () => {
  test('answers as its page writes it, opens before it makes, and reads back its relays alone', async () => {
    const unit = new PlainUnit()
    const { ask, instrument } = rig(setup => new SimLoadBank(setup, unit))
    expect(await ask('LOAD1:STAT?')).toBe('OPEN')
    await ask('LOAD1:CONN 8', 5)
    expect([unit.loads.get(0), await ask('LOAD1:STAT?', 50)]).toEqual([null, 'OPEN'])
    expect(await ask('LOAD1:STAT?')).toBe('8.0')
    expect(unit.loads.get(0)).toBeCloseTo(8, 0)
    await ask('LOAD2:CONN 7')
    expect(await ask('SYST:ERR?')).toMatch(/^-224/)
    instrument.device.faults.set({ kind: 'step-open' })
    expect([await ask('LOAD1:STAT?'), unit.loads.get(0)]).toEqual(['8.0', null])
    instrument.device.faults.clear()
    await ask('*RST')
    expect(await ask('LOAD1:STAT?')).toBe('OPEN')
  })
})

describe('the class figures around a unit', () => {
  const profile = (name: string) => parse(readFileSync(packageFile('profiles', 'instruments', `${name}.yaml`), 'utf8'))
  const limitsOf = ({ readingPct, rangePct = 0 }: { readingPct: number; rangePct?: number }): number[] => [readingPct / 100, rangePct / 100]
  const close = (mine: readonly number[], theirs: readonly number[]): void => {
    expect(mine).toHaveLength(theirs.length)
    mine.forEach((value, i) => expect(Math.abs(value - theirs[i]!)).toBeLessThanOrEqual(1e-9 * Math.abs(value)))
  }
  const flat = ({ ofReading, ofRange }: Limits): number[] => [ofReading, ofRange]

  test.each(Object.entries(powerFigures))('of %s are those of its profile', (name, figures) => {
    const p = profile(name)
    for (const [mine, theirs, unit] of [[figures.volts, p.voltageRanges, 'V'], [figures.amps, p.currentRanges, 'A']] as const) {
      mine.forEach((range, i) => {
        const row = theirs[i]
        close([range.size, range.overRange, range.step, range.noise, ...flat(range.limits)],
          [row[`range${unit}`], 1 + row.overRangePct / 100, row[`step${unit}`], row[`noise${unit}`], ...limitsOf(row.accuracy)])
      })
      expect(theirs).toHaveLength(mine.length)
    }
    const { power, hertz } = figures
    close([power.step, power.noise, ...flat(power.limits)], [p.power.stepShare, p.power.noiseShare, ...limitsOf(p.power.accuracy)])
    close([hertz.min, hertz.max, hertz.step, hertz.ofReading, figures.readingMs],
      [p.frequency.minHz, p.frequency.maxHz, p.frequency.stepHz, p.frequency.accuracy.readingPct / 100, p.readingMs])
  })

  test.each(Object.entries(signalFigures))('of %s are those of its profile', (name, figures) => {
    const p = profile(name)
    expect(p.channels).toHaveLength(figures.channels)
    close([figures.sourceOhm, figures.hertz.min, figures.hertz.max, figures.hertz.step, figures.distortion, figures.noiseVPerRootHz, figures.clockPpm, figures.settleMs],
      [p.sourceOhm, p.frequency.minHz, p.frequency.maxHz, p.frequency.stepHz, p.own.distortionPct / 100, p.own.noiseVPerRootHz, p.own.clockPpm, p.settleMs])
    close([figures.level.min, figures.level.max, figures.level.step, ...flat(figures.level.limits)],
      [p.level.minV, p.level.maxV, p.level.stepV, ...limitsOf(p.level.accuracy)])
    expect(p.level.unit).toBe(figures.perRms === 1 ? 'rms' : 'peak-to-peak')
  })

  test.each(Object.entries(recorderFigures))('of %s are those of its profile', (name, figures) => {
    const p = profile(name)
    expect([p.channels.length, p.bits, p.input.kind, p.samplesMost]).toEqual(
      [figures.channels, figures.bits, figures.earthed ? 'earthed' : 'differential', figures.samplesMost])
    close([...figures.ratesHz, figures.inputOhm, figures.distortion, figures.clockPpm, figures.armMs],
      [...p.sampleRatesHz, p.input.ohm, p.own.distortionPct / 100, p.own.clockPpm, p.armMs])
    close(figures.ranges.flatMap(range => [range.rangeV, range.noiseVPerRootHz, ...flat(range.limits)]),
      p.ranges.flatMap((row: { rangeV: number; noiseVPerRootHz: number; accuracy: { readingPct: number } }) =>
        [row.rangeV, row.noiseVPerRootHz, ...limitsOf(row.accuracy)]))
  })

  test('of contactor, load bank and RMS volts are those of their profiles', () => {
    const mains = profile('mains-contactor-a')
    close([contactorFigures.holdMs], [mains.holdMs])
    expect(contactorFigures.closeMs).toBeLessThan(mains.settleMs)
    const ways: readonly { seriesOhm: number; share: number }[] = Object.values(contactorFigures.ways)
    expect(ways).toEqual(mains.ways.map((way: { seriesOhm: number; share?: number }) => ({ seriesOhm: way.seriesOhm, share: way.share ?? 1 })))
    const load = profile('load-bank-a')
    expect(load.steps).toEqual(loadFigures.steps.map(ohm => ({ ohm, accuracyPct: loadFigures.ofValue * 100 })))
    expect(loadFigures.settleMs).toBeLessThan(load.settleMs)
    const ac = acFigures['multimeter-6d-a']
    const { ranges, stepShare, readingMs } = profile('multimeter-6d-a').alternating
    close([ac.speeds[0]![1], ac.overheadMs + 10 * 20], [stepShare, readingMs])
    close(ac.ranges.flatMap(range => [range.rangeV, range.overRange, ...flat(range.limits)]),
      ranges.flatMap((row: { rangeV: number; overRangePct?: number; accuracy: { readingPct: number } }) =>
        [row.rangeV, 1 + (row.overRangePct ?? 0) / 100, ...limitsOf(row.accuracy)]))
  })
})
