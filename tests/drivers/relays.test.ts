import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { RelayBeacon } from '../../src/drivers/beacon.ts'
import { createDriver } from '../../src/drivers/create.ts'
import { HoldInCutoff, RelayCutoff } from '../../src/drivers/cutoff.ts'
import { channelList, groupsOf } from '../../src/drivers/format.ts'
import { RelayBoardDriver } from '../../src/drivers/relay-board.ts'
import { ScannerDriver } from '../../src/drivers/scanner.ts'
import { classesOfRole } from '../../src/schema/instrument-profile.ts'
import { roleNames } from '../../src/schema/roles.ts'
import { scriptedPort, shippedProfile, type ScriptedPort } from './scripted-port.ts'

const board = shippedProfile('relay-board-a', 'relay-board')
const failsWith = (code: string) => expect.objectContaining({ code }) as Error
const clock = () => new VirtualClock()

describe('a scanner', () => {
  const a = shippedProfile('scanner-a', 'scanner')
  const b = shippedProfile('scanner-b', 'scanner')

  it('selects with one command and one read-back where the instrument breaks before it makes', async () => {
    const port = scriptedPort({ 'ROUT:CLOS? (@105)': '1' })
    await new ScannerDriver(a, port, clock()).select(105)
    expect(port.sent).toEqual(['ROUT:CLOS:EXCL (@105)', 'ROUT:CLOS? (@105)'])
  })

  it('opens all and waits before it closes where the instrument does not', async () => {
    const port = scriptedPort({ '*OPC?': '1', 'ROUT:CLOS? (@5)': '1' })
    await new ScannerDriver(b, port, clock()).select(5)
    expect(port.sent).toEqual(['ROUT:OPEN:ALL', '*OPC?', 'ROUT:CLOS (@5)', 'ROUT:CLOS? (@5)'])
  })

  it('sends a selection that got lost once more', async () => {
    const port = scriptedPort({ 'ROUT:CLOS? (@105)': ['0', '1'] })
    await new ScannerDriver(a, port, clock()).select(105)
    expect(port.sent.filter(command => command.includes('EXCL'))).toHaveLength(2)
  })

  it('never leaves a refused selection unsaid, and gives the words of the instrument', async () => {
    const port = scriptedPort({ 'ROUT:CLOS? (@105)': '0' })
    port.refused['ROUT:CLOS:EXCL (@105)'] = '-222 "Data out of range"'
    await expect(new ScannerDriver(a, port, clock()).select(105)).rejects.toMatchObject({
      code: 'INSTRUMENT_ERROR', context: { command: 'ROUT:CLOS:EXCL (@105)' },
    })
    const silent = scriptedPort({ 'ROUT:CLOS? (@105)': '0' })
    await expect(new ScannerDriver(a, silent, clock()).select(105)).rejects.toEqual(failsWith('READ_BACK'))
  })

  it('refuses a channel it has not before anything is sent', async () => {
    const port = scriptedPort({})
    for (const channel of [100, 141, 1241, -1, 105.5]) {
      await expect(
        new ScannerDriver(a, port, clock()).select(channel)
      ).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    }
    expect(port.sent).toEqual([])
  })

  it('opens all at the end of a sweep, with the error queue drained', async () => {
    const port = scriptedPort({ '*OPC?': '1' })
    port.refused['ROUT:OPEN:ALL'] = '-310 "System error"'
    await expect(
      new ScannerDriver(a, port, clock()).select(null)
    ).rejects.toEqual(failsWith('INSTRUMENT_ERROR'))
  })
})

function driven(answers: ScriptedPort['answers'], own?: number[]) {
  const port = scriptedPort({ '*OPC?': '1', ...answers })
  return { port, relays: new RelayBoardDriver(board, port, clock(), own) }
}

describe('a relay board', () => {
  it('holds a list, waits, and sees every coil of it', async () => {
    const { port, relays } = driven({ 'ROUT:CLOS? (@1,3:5)': '1,1,1,1' })
    await relays.hold([1, 3, 4, 5])
    expect(port.sent).toEqual(['ROUT:CLOS (@1,3:5)', '*OPC?', 'ROUT:CLOS? (@1,3:5)'])
  })

  it('names the relay that did not move', async () => {
    const { relays } = driven({ 'ROUT:CLOS? (@1,3:5)': '1,1,0,1', 'ROUT:CLOS? (@2)': '1' })
    await expect(relays.hold([1, 3, 4, 5])).rejects.toMatchObject({
      code: 'READ_BACK', context: { command: 'ROUT:CLOS (@4)', expected: 'held', got: 'released' },
    })
    await expect(relays.release([2])).rejects.toMatchObject({ code: 'READ_BACK', context: { got: 'held' } })
  })

  it('gives the coils in the order asked', async () => {
    const { relays } = driven({ 'ROUT:CLOS? (@9,2,3)': '1,0,1' })
    expect(await relays.held([9, 2, 3])).toEqual([true, false, true])
  })

  it('cuts a long list so that no command is longer than the input buffer or the board takes', () => {
    const { hold } = board.commands
    fc.assert(fc.property(fc.uniqueArray(fc.integer({ min: 1, max: 512 }), { maxLength: 200 }), relays => {
      const groups = groupsOf(relays, board.relaysPerCommand, hold, board.link.inputBufferBytes)
      expect(groups.flat()).toEqual(relays)
      for (const group of groups) {
        expect(group.length).toBeLessThanOrEqual(board.relaysPerCommand)
        expect(hold.replace('{list}', channelList(group)).length).toBeLessThan(board.link.inputBufferBytes)
      }
    }))
  })

  it('writes lists that expand to what was meant', () => {
    // [101,103,104,105] -> (@101,103:105): the standard's list, seen on an independent device-side
    // implementation
    expect(channelList([101, 103, 104, 105])).toBe('101,103:105')
    fc.assert(fc.property(fc.array(
      fc.integer({ min: 1, max: 60 }), { minLength: 1, maxLength: 40 }
    ), channels => {
      const expanded = channelList(channels).split(',').filter(Boolean).flatMap(part => {
        const [first, last = first] = part.split(':').map(Number)
        return Array.from({ length: last! - first! + 1 }, (_, i) => first! + i)
      })
      expect(expanded).toEqual(channels)
    }))
  })

  it('refuses relays it has not, and those of another role, before anything is sent', async () => {
    const { port, relays } = driven({}, [7])
    for (
      const relay of [0, 513, 1.5, 8]
    ) await expect(relays.hold([relay])).rejects.toEqual(failsWith('OUT_OF_RANGE'))
    expect(port.sent).toEqual([])
  })

  it('releases all of the board, or only its own part of it', async () => {
    const whole = driven({ 'ROUT:CLOS:COUN?': '0' })
    await whole.relays.releaseAll()
    expect(whole.port.sent).toEqual(['ROUT:OPEN:ALL', '*OPC?', 'ROUT:CLOS:COUN?'])
    const own = driven({ 'ROUT:CLOS? (@7)': '0' }, [7])
    await own.relays.prepare()
    expect(own.port.sent).toEqual(['ROUT:OPEN (@7)', '*OPC?', 'ROUT:CLOS? (@7)'])
    expect(own.relays.safeOff).toEqual({
      commands: ['ROUT:OPEN (@7)'], verify: { query: 'ROUT:CLOS? (@7)', safe: [0, '0'] },
    })
    await expect(
      driven({ 'ROUT:CLOS:COUN?': '1' }).relays.releaseAll()
    ).rejects.toEqual(failsWith('READ_BACK'))
  })
})

describe('a cutoff', () => {
  const profile = shippedProfile('hold-in-relay-a', 'hold-in-relay')

  it('is waited for and seen, in both directions', async () => {
    const port = scriptedPort({ 'OUTP:STAT?': ['1', '0', '0', '1'] })
    const time = clock()
    const cutoff = new HoldInCutoff(profile, port, time)
    await time.run(cutoff.close())
    expect(time.monotonicMs()).toBe(profile.settleMs)
    await time.run(cutoff.open())
    await expect(time.run(cutoff.close())).rejects.toEqual(failsWith('READ_BACK'))
    await expect(time.run(cutoff.open())).rejects.toEqual(failsWith('READ_BACK'))
    expect(cutoff.holdMs).toBe(4000)
    expect(cutoff.refreshCommand).not.toBe(profile.commands.close)
  })

  it('fails to close in the words of the instrument while the cover is open', async () => {
    const port = scriptedPort({ 'OUTP:STAT?': '0' })
    port.refused['OUTP:CLOS'] = '-221 "Settings conflict"'
    await expect(
      new HoldInCutoff(profile, port, clock()).close()
    ).rejects.toEqual(failsWith('INSTRUMENT_ERROR'))
  })

  it('made of one relay has no hold-in timer and nothing to refresh', async () => {
    const port = scriptedPort({ '*OPC?': '1', 'ROUT:CLOS? (@60)': ['1', '1', '0'] })
    const cutoff = new RelayCutoff(board, port, clock(), 60)
    await cutoff.close()
    expect(await cutoff.isClosed()).toBe(true)
    await cutoff.open()
    expect([cutoff.holdMs, cutoff.refreshCommand]).toEqual([0, ''])
    expect(cutoff.safeOff.commands).toEqual(['ROUT:OPEN (@60)'])
  })
})

describe('a beacon of two relays', () => {
  it('is never dark between two states', async () => {
    const port = scriptedPort({ '*OPC?': '1', 'ROUT:CLOS? (@61)': '1', 'ROUT:CLOS? (@60)': '0' })
    await new RelayBeacon(board, port, clock(), 60).show('fault')
    expect(
      port.sent.filter(command => !command.includes('?'))
    ).toEqual(['ROUT:CLOS (@61)', 'ROUT:OPEN (@60)'])
  })
})

describe('making a driver', () => {
  it('refuses a class that cannot serve the role, and a shared board without its relay', () => {
    const port = scriptedPort({})
    expect(() => createDriver('supply', board, port, clock())).toThrow(/dc-supply.*relay-board/)
    expect(() => createDriver('cutoff', board, port, clock())).toThrow(/relay or input/)
    expect(() => createDriver('interlock', board, port, clock(), { relay: 8 })).toThrow(/inputs/)
  })

  it('serves every role from every class that the table names for it, and sends nothing', () => {
    const port = scriptedPort({})
    const names = {
      'dc-supply': 'dc-supply-600v-a', multimeter: 'multimeter-6d-a', 'lcr-bridge': 'lcr-bridge-a',
      scanner: 'scanner-a', 'relay-board': 'relay-board-a', 'hold-in-relay': 'hold-in-relay-a',
      'interlock-reader': 'interlock-reader-a',
      beacon: 'beacon-a', thermometer: 'thermometer-a', 'source-measure': 'source-measure-a',
      'mains-contactor': 'mains-contactor-a', 'power-meter': 'power-meter-a', 'signal-generator': 'signal-generator-a', digitizer: 'digitizer-a',
      'load-bank': 'load-bank-a',
    } as const
    for (const role of roleNames) {
      for (const of of classesOfRole[role]) {
        expect(
          createDriver(role, shippedProfile(names[of], of), port, clock(), { relay: 1 }).name
        ).toBe('thing')
      }
    }
    expect(port.sent).toEqual([])
  })

  it('reads cover and key from two inputs of a board', async () => {
    const port = scriptedPort({ 'DIG:INP? 1': '1', 'DIG:INP? 2': '0' })
    const interlock = createDriver('interlock', board, port, clock(), { relay: 1 })
    expect(await interlock.read()).toEqual({ coverClosed: true, present: false })
    port.answers['DIG:INP? 1'] = 'x'
    await expect(interlock.read()).rejects.toEqual(failsWith('ANSWER_FORM'))
  })
})
