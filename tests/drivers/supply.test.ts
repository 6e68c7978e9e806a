import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { SupplyDriver } from '../../src/drivers/supply.ts'
import { scriptedPort, shippedProfile, type ScriptedPort } from './scripted-port.ts'

const a = shippedProfile('dc-supply-600v-a', 'dc-supply')
const b = shippedProfile('dc-supply-500v-b', 'dc-supply')

function supplyA(answers: ScriptedPort['answers']) {
  const port = scriptedPort(answers)
  return { port, supply: new SupplyDriver(a, port, new VirtualClock()) }
}

function supplyB(answers: ScriptedPort['answers']) {
  const port = scriptedPort(answers)
  return { port, supply: new SupplyDriver(b, port, new VirtualClock()) }
}

const failsWith = (code: string) => expect.objectContaining({ code }) as Error

describe('a DC supply', () => {
  it('sends a voltage in plain volts and reads it back', async () => {
    const { port, supply } = supplyA({ 'VOLT?': '+4.50000E+02' })
    await supply.setVoltage(450)
    expect(port.sent).toEqual(['VOLT 450.00', 'VOLT?'])
  })

  it('takes a read-back within one step and refuses one further off', async () => {
    await expect(supplyA({ 'VOLT?': '450.02' }).supply.setVoltage(450)).resolves.toBeUndefined()
    await expect(
      supplyA({ 'VOLT?': '450.05' }).supply.setVoltage(450)
    ).rejects.toEqual(failsWith('READ_BACK'))
    await expect(
      supplyA({ 'VOLT?': '+9.91E+37' }).supply.setVoltage(450)
    ).rejects.toEqual(failsWith('ANSWER_FORM'))
  })

  it('never sends more than was asked for, and less by no more than a step', async () => {
    await fc.assert(fc.asyncProperty(fc.double({ min: 0, max: 600, noNaN: true }), async volts => {
      const { port, supply } = supplyA({})
      port.answers['VOLT?'] = '0'
      await supply.setVoltage(volts).catch(() => {})
      const sent = Number(port.sent[0]!.slice('VOLT '.length))
      expect(sent).toBeLessThanOrEqual(volts + 1e-6 * a.voltageStepV)
      expect(volts - sent).toBeLessThan(a.voltageStepV + 1e-9)
    }))
  })

  it('sends nothing when a value is out of range or no number', async () => {
    const { port, supply } = supplyA({})
    for (const volts of [600.1, -0.1, NaN, Infinity]) {
      await expect(supply.setVoltage(volts)).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    }
    await expect(supply.setCurrentLimit(0.9)).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    await expect(supply.protect(661, 0.1)).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    await expect(supply.protect(470, 1)).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    await expect(supply.armWatchdog(0)).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    expect(port.sent).toEqual([])
  })

  it('fails the call whose command the instrument refused', async () => {
    const { port, supply } = supplyA({ 'VOLT?': '0' })
    port.refused['VOLT 450.00'] = '-222 "Data out of range"'
    await expect(supply.setVoltage(450)).rejects.toMatchObject({
      code: 'INSTRUMENT_ERROR', context: { command: 'VOLT 450.00' },
    })
    expect(port.sent).toEqual(['VOLT 450.00'])
  })

  it('switches in the words of its dialect and sees the switch', async () => {
    const { port, supply } = supplyA({ 'OUTP?': '1' })
    await supply.setOutput(true)
    expect(port.sent).toEqual(['OUTP ON', 'OUTP?'])
    await expect(supply.setOutput(false)).rejects.toEqual(failsWith('READ_BACK'))
    const other = supplyB({ 'OUTP:STAT?': '1' })
    await other.supply.setOutput(true)
    expect(other.port.sent).toEqual(['OUTP:STAT 1', 'OUTP:STAT?'])
  })

  it('is off, and seen off, before protection is programmed, and tells what was taken', async () => {
    const { port, supply } = supplyA({
      'OUTP?': '0', 'VOLT:PROT?': '470.0', 'CURR:PROT?': '0.1',
      'VOLT:PROT:STAT?': '1', 'CURR:PROT:STAT?': '1',
    })
    expect(await supply.protect(470.04, 0.1)).toEqual({ overVoltageV: 470, overCurrentA: 0.1 })
    expect(port.sent).toEqual([
      'OUTP OFF', 'OUTP?', 'VOLT:PROT 470.0', 'VOLT:PROT?', 'CURR:PROT 0.100', 'CURR:PROT?',
      'VOLT:PROT:STAT ON', 'VOLT:PROT:STAT?', 'CURR:PROT:STAT ON', 'CURR:PROT:STAT?',
    ])
  })

  it('refuses protection that did not take or did not switch on', async () => {
    const good = {
      'OUTP?': '0', 'VOLT:PROT?': '470.0', 'CURR:PROT?': '0.1',
      'VOLT:PROT:STAT?': '1', 'CURR:PROT:STAT?': '1',
    }
    for (const wrong of [
      { 'VOLT:PROT?': '660' }, { 'CURR:PROT?': '0.9' }, { 'VOLT:PROT:STAT?': '0' }, { 'CURR:PROT:STAT?': '0' }
    ]) {
      await expect(
        supplyA({ ...good, ...wrong }).supply.protect(470, 0.1)
      ).rejects.toEqual(failsWith('READ_BACK'))
    }
  })

  it('programs no protection while the output stays on', async () => {
    const { port, supply } = supplyA({ 'OUTP?': '1' })
    await expect(supply.protect(470, 0.1)).rejects.toEqual(failsWith('READ_BACK'))
    expect(port.sent.some(command => command.startsWith('VOLT:PROT'))).toBe(false)
  })

  it('clears a trip in the order off, seen off, clear, seen still off', async () => {
    const { port, supply } = supplyA({
      'OUTP?': '0', 'VOLT:PROT:TRIP?': '0', 'CURR:PROT:TRIP?': '0', 'STAT:QUES:COND?': '0',
    })
    await supply.clearProtection()
    expect(port.sent.slice(0, 6)).toEqual(
      ['OUTP OFF', 'OUTP?', 'VOLT:PROT:CLE', 'OUTP?', 'CURR:PROT:CLE', 'OUTP?']
    )
  })

  it('switches off at once a supply that came on while it was cleared, and says so', async () => {
    const { port, supply } = supplyA({ 'OUTP?': ['0', '1', '0'] })
    await expect(supply.clearProtection()).rejects.toMatchObject(
      { code: 'READ_BACK', context: { got: 'on' } }
    )
    expect(port.sent.at(-2)).toBe('OUTP OFF')
  })

  it('clears nothing while the output cannot be seen off', async () => {
    const { port, supply } = supplyA({ 'OUTP?': '1' })
    await expect(supply.clearProtection()).rejects.toEqual(failsWith('READ_BACK'))
    expect(port.sent.some(command => command.includes('CLE'))).toBe(false)
  })

  it('tells a trip by query or by status bit, and takes a normal status for none', async () => {
    const quiet = { 'VOLT:PROT:TRIP?': '0', 'CURR:PROT:TRIP?': '0' }
    expect(await supplyA({ ...quiet, 'STAT:QUES:COND?': '2' }).supply.protectionTripped()).toBe('none')
    expect(await supplyA({ ...quiet, 'STAT:QUES:COND?': '2064' }).supply.protectionTripped()).toBe('other')
    expect(
      await supplyA({ ...quiet, 'CURR:PROT:TRIP?': '1' }).supply.protectionTripped()
    ).toBe('over-current')
    for (const [word, trip] of [
      ['0', 'none'], ['1', 'over-voltage'], ['2', 'over-current'], ['16', 'other'], ['1024', 'none']
    ]) {
      expect(await supplyB({ 'STAT:QUES:COND?': word! }).supply.protectionTripped(), word).toBe(trip)
    }
  })

  it('arms the communication watchdog for no less than was asked, sees it armed, and tells the seconds', async () => {
    const { port, supply } = supplyA({ 'SYST:WATC:TIME?': '6', 'SYST:WATC:STAT?': '1' })
    expect(await supply.armWatchdog(5.1)).toBe(6)
    expect(port.sent).toEqual(['SYST:WATC:TIME 6', 'SYST:WATC:TIME?', 'SYST:WATC:STAT ON', 'SYST:WATC:STAT?'])
    expect(supply.watchdogS).toEqual({ min: 1, max: 3600 })
  })

  it.each([
    ['other seconds', { 'SYST:WATC:TIME?': '60', 'SYST:WATC:STAT?': '1' }],
    ['not armed', { 'SYST:WATC:TIME?': '6', 'SYST:WATC:STAT?': '0' }],
  ])('fails where the watchdog reads back as %s', async (_what, answers) => {
    await expect(supplyA(answers).supply.armWatchdog(6)).rejects.toEqual(failsWith('READ_BACK'))
  })

  it('ends the watchdog and sees it ended, and has a line for that which may follow a safe-off', async () => {
    const { port, supply } = supplyA({ 'SYST:WATC:STAT?': ['0', '1'] })
    await supply.disarmWatchdog()
    expect(port.sent).toEqual(['SYST:WATC:STAT OFF', 'SYST:WATC:STAT?'])
    await expect(supply.disarmWatchdog()).rejects.toEqual(failsWith('READ_BACK'))
    expect(supply.safeOff.afterwards).toEqual(['SYST:WATC:STAT OFF'])
    expect(supply.safeOff.commands).not.toContain('SYST:WATC:STAT OFF')
  })

  it('without a watchdog says so, and sends nothing for one', async () => {
    const { port, supply } = supplyB({})
    expect([supply.watchdogS, supply.safeOff.afterwards]).toEqual([null, undefined])
    await expect(supply.armWatchdog(5)).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    await expect(supply.disarmWatchdog()).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    expect(port.sent).toEqual([])
  })

  it('reads volts and amperes with the uncertainty of its profile and the time of the question', async () => {
    const { supply } = supplyB({ 'MEAS:VOLT?': '400.00 V', 'MEAS:CURR?': '0.0103 A' })
    const volts = await supply.readVoltage()
    // ((400·0.05 % + 500·0.02 % + 2·0.01)/√3)² + (0.01/√12)² + 0.01² (noise), by hand from the profile
    expect(volts).toMatchObject({ value: 400, quality: 'good', atMs: 0 })
    expect(volts.u).toBeCloseTo(Math.sqrt((0.32 / Math.sqrt(3)) ** 2 + 0.01 ** 2 / 12 + 0.01 ** 2), 12)
    expect((await supply.readCurrent()).value).toBe(0.0103)
  })

  it('takes sentinels and impossible values for faults, never for numbers', async () => {
    const quality = async (text: string) =>
      (await supplyA({ 'MEAS:VOLT?': text }).supply.readVoltage()).quality
    expect(await quality('+9.90000000E+37')).toBe('over-range')
    expect(await quality('+9.91000000E+37')).toBe('not-a-number')
    expect(await quality('-20')).toBe('implausible')
    expect(await quality('900')).toBe('implausible')
    expect(await quality('-0.05')).toBe('good')
    await expect(quality('')).rejects.toEqual(failsWith('ANSWER_FORM'))
    await expect(quality('1.0.0')).rejects.toEqual(failsWith('ANSWER_FORM'))
  })

  it('energises nothing in prepare and in safe-off', async () => {
    for (const profile of [a, b]) {
      const port = scriptedPort({})
      const supply = new SupplyDriver(profile, port, new VirtualClock())
      await supply.prepare()
      for (const command of [...port.sent, ...supply.safeOff.commands]) {
        expect(command).not.toMatch(/OUTP\S* (ON|1)$|VOLT [1-9]/)
      }
      expect(port.sent[0]).toMatch(/^OUTP\S* (OFF|0)$/)
      expect(supply.safeOff.verify).toBeDefined()
    }
  })
})
