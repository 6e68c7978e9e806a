/** What is the driver's own in a capture: arm, wait, fetch, time-outs, and what is made of the words. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { SimDigitizer, type RecorderProfile } from '../../mocks/instruments/digitizer.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import { createDriver } from '../../src/drivers/create.ts'
import { DigitizerDriver } from '../../src/drivers/digitizer.ts'
import { sessionOptionsOf } from '../../src/drivers/session-options.ts'
import { toVolts } from '../../src/drivers/waveform.ts'
import type { ProfileOf } from '../../src/schema/instrument-profile.ts'
import type { Capture, Digitizer } from '../../src/schema/unit-roles.ts'
import { blockNumbers, type BlockFormat } from '../../src/scpi/blocks.ts'
import { Session } from '../../src/scpi/session.ts'
import { memoryLink } from '../../src/transport/memory.ts'
import { PlainUnit } from './plain-unit.ts'
import { scriptedPort, shippedProfile, type ScriptedPort } from './scripted-port.ts'

const failsWith = (code: string) => expect.objectContaining({ code }) as Error
const a = shippedProfile('digitizer-a', 'digitizer')

interface Bench { clock: VirtualClock; session: Session; instrument: SimDigitizer; unit: PlainUnit; digitizer: Digitizer }

async function onLink(
  name: RecorderProfile, work: (bench: Bench) => Promise<void>, alter: (profile: ProfileOf<'digitizer'>) => ProfileOf<'digitizer'> = p => p,
): Promise<void> {
  const clock = new VirtualClock()
  const unit = new PlainUnit()
  const heard = [{ at: 'output', channel: 0 }, { at: 'input', channel: 0 }] as const
  const instrument = new SimDigitizer(name, { name, clock, seed: 5, heard }, unit)
  const profile = alter(shippedProfile(name, 'digitizer'))
  const { open } = memoryLink(clock, { onBytes: (chunk, reply) => instrument.receive(chunk, reply) })
  const session = new Session(open, { name, clock, ...sessionOptionsOf(profile) })
  await clock.run((async () => {
    await session.connect()
    const digitizer = createDriver('digitizer', profile, session, clock)
    await digitizer.prepare()
    await work({ clock, session, instrument, unit, digitizer })
  })())
  await session.close()
}

const asked = { channels: [1], rangeV: 10, sampleHz: 96e3, samples: 960 }
const sine = (unit: PlainUnit, peakV: number): void => unit.drive(0, [{ frequencyHz: 1000, peakV, phaseRad: 0 }], 0)
const peakOf = ({ volts }: Capture): number => Math.max(...volts[0]!)

describe('a capture', () => {
  it('takes as long as its samples and what the instrument needs, and no longer', () => onLink('digitizer-a', async ({ digitizer, clock }) => {
    const fromMs = clock.monotonicMs()
    await digitizer.capture({ ...asked, samples: 96_000 })
    const tookMs = clock.monotonicMs() - fromMs
    expect(tookMs).toBeGreaterThan(1000)
    expect(tookMs).toBeLessThan(1200)
  }))

  it('of a quarter of a million samples comes in pieces that the link has room for, in order', () => onLink('digitizer-a', async ({ digitizer, instrument, unit }) => {
    sine(unit, 0.5)
    const samples = 1 << 18
    const { volts: [volts] } = await digitizer.capture({ ...asked, samples })
    const lines = instrument.device.received.list().filter(({ line }) => line.startsWith('TRAC:DATA?')).map(({ line }) => line)
    const most = Math.floor((262144 - 64) / 3)
    expect(lines).toEqual([0, 1, 2, 3].filter(n => n * most < samples)
      .map(n => `TRAC:DATA? 1,${n * most},${Math.min(most, samples - n * most)}`))
    const truth = unit.output(0, 96e3 * (1 + instrument.core.clockError), samples)
    expect(volts!.reduce((worst, v, i) => Math.max(worst, Math.abs(v - truth[i]!)), 0)).toBeLessThan(0.02)
  }))

  it('counts from one where the instrument does', async () => {
    const { port, digitizer, clock } = scripted({ firstIs: 1 })
    await clock.run(digitizer.capture({ ...asked, samples: 2 }))
    expect(port.sent).toContain('TRAC:DATA? 1,1,2')
  })

  it('sends only what stands otherwise, and sees it', () => onLink('digitizer-a', async ({ digitizer, instrument }) => {
    await digitizer.capture(asked)
    const settings = (): string[] => instrument.device.received.list().map(({ line }) => line)
      .filter(line => /^(VOLT\d:RANG|VOLT\d:STAT|SWE:RATE|SWE:POIN) /.test(line))
    const before = settings().length
    await digitizer.capture(asked)
    expect(settings()).toHaveLength(before)
    instrument.core.setRange(1, 100)
    await digitizer.capture(asked)
    expect(settings().slice(before)).toEqual(['VOLT1:RANG 10'])
  }))

  it('leaves channels out that nobody asked for', () => onLink('digitizer-a', async ({ digitizer, instrument }) => {
    await digitizer.capture({ ...asked, channels: [2] })
    expect(instrument.core.channels.map(channel => channel.enabled)).toEqual([false, true])
  }))

  it('says that the input went beyond its range, and does not when it stayed inside', () => onLink('digitizer-b', async ({ digitizer, unit }) => {
    const on = { ...asked, sampleHz: 100e3 }
    for (const [peakV, isClipped] of [[0.9, false], [1.02, true]] as const) {
      sine(unit, peakV)
      expect((await digitizer.capture(on)).isClipped).toEqual([isClipped])
    }
  }))

  it('hears the source itself in a loop-back', () => onLink('digitizer-a', async ({ digitizer, unit }) => {
    sine(unit, 0.2)
    expect(peakOf(await digitizer.capture({ ...asked, channels: [2], rangeV: 0.3 }))).toBeCloseTo(0.2, 2)
    expect(peakOf(await digitizer.capture({ ...asked, rangeV: 3 }))).toBeCloseTo(2, 1)
  }))
})

describe('a record of the past', () => {
  it('is not taken for a new one where throwing it away got lost', () => onLink('digitizer-a', async ({ digitizer, instrument }) => {
    await digitizer.capture(asked)
    instrument.device.faults.set({ kind: 'deaf', match: 'ABOR', times: 1 })
    await expect(digitizer.capture(asked)).rejects.toMatchObject({ code: 'READ_BACK', context: { command: 'ABOR' } })
    await digitizer.capture(asked)
  }))

  it('is not taken for a new one where arming got lost', () => onLink('digitizer-a', async ({ digitizer, instrument, unit }) => {
    sine(unit, 0.1)
    await digitizer.capture(asked)
    sine(unit, 0.5)
    instrument.device.faults.set({ kind: 'deaf', match: 'INIT', times: 1 })
    await expect(digitizer.capture(asked)).rejects.toMatchObject({ code: 'READ_BACK', context: { command: 'INIT' } })
    expect(peakOf(await digitizer.capture(asked))).toBeCloseTo(5, 1)
  }))

  it('nor where its preamble tells of other samples', async () => {
    const b = shippedProfile('digitizer-b', 'digitizer')
    const port = scriptedPort({
      'RUN:STAT?': ['0', '2', '0', '2', '0', '2'], 'DATA:WIDT?': '16', 'RANG? (@1)': '10', 'RATE?': '100000', 'LENG?': '2',
      'DATA:PRE? (@1)': ['1,0,3,1,1e-5,0,0,1e-4,0,32768', '1,0,2,1,1e-6,0,0,1e-4,0,32768', '0,0,2,1,1e-5,0,0,1e-4,0,32768'],
    })
    for (const expected of ['2 samples', '0.00001 s', 'format 1']) {
      const clock = new VirtualClock()
      const digitizer = new DigitizerDriver(b, port, clock)
      expect(digitizer.isDifferential).toBe(false)
      const error = await clock.run(digitizer.capture({ channels: [1], rangeV: 10, sampleHz: 1e5, samples: 2 }).catch((e: unknown) => e))
      expect(error).toMatchObject({ code: 'READ_BACK', context: { expected } })
    }
  })
})

describe('a digitizer that fails in the middle', () => {
  it('waits no longer for its trigger than the record takes, gives it up there, and can be used again', () => onLink('digitizer-a', async ({ digitizer, instrument, clock }) => {
    instrument.device.faults.set({ kind: 'never-triggers' })
    const fromMs = clock.monotonicMs()
    await expect(digitizer.capture(asked)).rejects.toMatchObject({ code: 'NO_READING', context: { got: 'WAIT or RUN' } })
    expect(clock.monotonicMs() - fromMs).toBeLessThan(1500)
    expect(instrument.core.state).toBe('idle')
    instrument.device.faults.clear()
    await digitizer.capture(asked)
  }))

  it('loses its power while it records', () => onLink('digitizer-a', async ({ digitizer, instrument, clock }) => {
    clock.after(300, () => instrument.device.powerCycle())
    await expect(digitizer.capture({ ...asked, samples: 96_000 })).rejects.toEqual(failsWith('READ_BACK'))
    // Word and byte order are gone with it: said, and not misread.
    await expect(digitizer.capture(asked)).rejects.toMatchObject({ code: 'READ_BACK', context: { command: 'FORM?' } })
    await digitizer.prepare()
    await digitizer.capture(asked)
  }))

  it('sends half a block: the call fails, the link comes back in step, the next record is whole', () => onLink('digitizer-a', async ({ digitizer, instrument, session, unit }) => {
    sine(unit, 0.3)
    instrument.device.faults.set({ kind: 'truncate', match: 'TRAC:DATA', value: 500, times: 1 })
    await expect(digitizer.capture(asked)).rejects.toEqual(failsWith('LINK_TIMEOUT'))
    const next = await digitizer.capture(asked)
    expect([session.state, next.volts[0]!.length]).toEqual(['ready', 960])
    expect(peakOf(next)).toBeCloseTo(3, 1)
  }))

  it('sends fewer samples than it was asked for', async () => {
    const { port, digitizer, clock } = scripted()
    port.blocks['TRAC:DATA? 1,0,2'] = '010000'
    await expect(clock.run(digitizer.capture({ ...asked, samples: 2 }))).rejects.toMatchObject({ code: 'ANSWER_FORM', context: { expected: '2 samples', got: '1' } })
    expect(port.sent.at(-1)).toBe('ABOR')
  })

  it('writes in another word than its profile says', async () => {
    const { port, digitizer, clock } = scripted()
    port.answers['FORM:BORD?'] = 'NORM'
    await expect(clock.run(digitizer.capture({ ...asked, samples: 2 }))).rejects.toEqual(failsWith('READ_BACK'))
  })

  it('answers a state that nobody knows', async () => {
    const { port, digitizer, clock } = scripted()
    port.answers['SWE:STAT?'] = 'ASLEEP'
    await expect(clock.run(digitizer.capture({ ...asked, samples: 2 }))).rejects.toMatchObject({ code: 'ANSWER_FORM', context: { got: 'ASLEEP' } })
  })

  it('has no link for blocks', () => {
    const { queryBlock: _none, ...lines } = scriptedPort({})
    expect(() => new DigitizerDriver(a, lines, new VirtualClock())).toThrow(/link of its own/)
  })
})

/** Two samples of one volt a count of 2^20. */
function scripted(commands: Partial<ProfileOf<'digitizer'>['commands']> = {}): { port: ScriptedPort; digitizer: Digitizer; clock: VirtualClock } {
  const port = scriptedPort({
    'SWE:STAT?': ['IDLE', 'DONE'], 'FORM?': 'INT,24', 'FORM:BORD?': 'SWAP', 'VOLT1:STAT?': '1', 'VOLT2:STAT?': '0', 'VOLT1:RANG?': '+1.0E+01',
    'SWE:RATE?': '+9.6E+04', 'SWE:POIN?': '2', 'VOLT1:OVER?': '0', 'TRAC:SCAL? 1': '+1.0E-06', 'TRAC:OFFS? 1': '+5.0E-01',
  })
  port.blocks['TRAC:DATA? 1,0,2'] = '40420fc0bdf0'
  port.blocks['TRAC:DATA? 1,1,2'] = '40420fc0bdf0'
  const clock = new VirtualClock()
  return { port, clock, digitizer: new DigitizerDriver({ ...a, commands: { ...a.commands, ...commands } }, port, clock) }
}

describe('words of a digitizer', () => {
  it('are volts by scale and offset, negative ones too', async () => {
    // 40 42 0f is 1000000 with its last byte first, c0 bd f0 is -1000000; two's complement, by hand.
    const { digitizer, clock } = scripted()
    const { volts, gainU, offsetUV } = await clock.run(digitizer.capture({ ...asked, samples: 2 }))
    expect([...volts[0]!]).toEqual([1.5, -0.5])
    expect(gainU).toBeCloseTo(0.001 / Math.sqrt(3), 9)
    expect(offsetUV).toBeCloseTo(5e-4 / Math.sqrt(3), 8)
  })

  it('come back as they were written, whatever their width and order', () => {
    const widths: Record<string, readonly [BlockFormat, number]> = { one: ['int8', 1], two: ['int16', 2], three: ['int24', 3], four: ['int32', 4] }
    fc.assert(fc.property(fc.constantFrom(...Object.keys(widths)), fc.array(fc.double({ min: -1, max: 0.999, noNaN: true })), fc.boolean(), (name, shares, swapped) => {
      const [format, bytes] = widths[name]!
      const values = shares.map(share => Math.floor(share * 2 ** (8 * bytes - 1)))
      const data = Buffer.alloc(values.length * bytes)
      values.forEach((value, i) => swapped ? data.writeIntLE(value, i * bytes, bytes) : data.writeIntBE(value, i * bytes, bytes))
      expect([...blockNumbers(data, format, swapped ? 'swapped' : 'normal')].map(value => value + 0)).toEqual(values.map(value => value + 0))
    }))
  })

  it('in the wrong order or scale are refused where they cannot be volts of this range', () => {
    const one = { scaleV: 1, offsetV: 0 }
    const clipping = { share: 1 }
    expect(() => toVolts(Float64Array.of(0.1, 2.1), one, 1, clipping)).toThrow(/byte order/)
    expect(() => toVolts(Float64Array.of(0.1, NaN), one, 1, clipping)).toThrow(/sample 1/)
    // 9.91E37 is no number, 9.9E37 an input beyond its range.
    expect(() => toVolts(Float64Array.of(9.91e37), one, 1, clipping)).toThrow(/sample 0/)
    expect(toVolts(Float64Array.of(0.1, -9.9e37), one, 1, clipping)).toEqual({ volts: Float64Array.of(0.1, -1), isClipped: true })
    expect(toVolts(Float64Array.of(0.5, 0.999), one, 1, clipping).isClipped).toBe(false)
    expect(toVolts(Float64Array.of(0.5, -1), one, 1, clipping).isClipped).toBe(true)
    const codes = { codes: { low: -128, high: 127 }, share: 1 }
    expect(toVolts(Float64Array.of(126), { scaleV: 1 / 128, offsetV: 0 }, 1, codes).isClipped).toBe(false)
    expect(toVolts(Float64Array.of(-128), { scaleV: 1 / 128, offsetV: 0 }, 1, codes).isClipped).toBe(true)
  })
})
