import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { parse } from 'yaml'
import { packageFile } from '../../src/base/paths.ts'
import { HoldInRelay } from '../../mocks/instruments/hold-in-relay.ts'
import { RelayBoard } from '../../mocks/instruments/relay-board.ts'
import { Scanner, type ScannerProfile } from '../../mocks/instruments/scanner.ts'
import { Beacon } from '../../mocks/instruments/small-instruments.ts'
import {
  bridgeFigures, holdInFigures, meterFigures, relayFigures, scannerFigures, supplyOutputF, supplyRatings,
  thermometerFigures,
} from '../../mocks/instruments/specifications.ts'
import { BenchSwitches } from '../../mocks/instruments/terminals.ts'
import { rig } from './rig.ts'

function board() {
  const contacts = new Set<number>()
  const inputs = new Set<number>()
  const terminals = {
    contact: (relay: number, held: boolean) => { if (held) contacts.add(relay); else contacts.delete(relay) },
    input: (number: number) => inputs.has(number),
  }
  return { contacts, inputs, ...rig(setup => new RelayBoard(setup, terminals)) }
}

describe('relay board', () => {
  test('holds, releases and tells its coils in the order asked', async () => {
    const { ask, contacts } = board()
    await ask('ROUT:CLOS (@1,3:5)')
    expect([...contacts]).toEqual([1, 3, 4, 5])
    expect(await ask('ROUT:CLOS? (@5,2,1)')).toBe('1,0,1')
    expect(await ask('ROUT:CLOS:COUN?')).toBe('4')
    await ask('ROUT:OPEN (@3:4)')
    expect([...contacts]).toEqual([1, 5])
    await ask('ROUT:OPEN:ALL')
    expect(contacts.size).toBe(0)
    expect(await ask('ROUT:CLOS:COUN?')).toBe('0')
  })

  test.each([['ROUT:CLOS (@1,513)', -222], ['ROUT:CLOS (@0)', -222], ['ROUT:CLOS (@1:25)', -223]])(
    '%s is refused with %d, and nothing of that list is carried out', async (line, code) => {
      const { ask, contacts } = board()
      await ask(line)
      expect(contacts.size).toBe(0)
      expect(await ask('SYST:ERR?')).toMatch(new RegExp(`^${code},`))
    })

  test('*OPC? waits 10 ms for contacts, and power loss releases them all', async () => {
    const { ask, contacts, instrument, clock } = board()
    let answeredAtMs = 0
    await ask('ROUT:CLOS (@7)', 2)
    const from = clock.monotonicMs()
    instrument.receive(Buffer.from('*OPC?\n'), () => { answeredAtMs = clock.monotonicMs() })
    await clock.advance(100)
    expect(answeredAtMs - from).toBe(12)
    instrument.device.powerCycle()
    expect(contacts.size).toBe(0)
  })

  test('a dead relay never makes, and coil read-back does not know', async () => {
    const { ask, contacts, instrument } = board()
    instrument.device.faults.set({ kind: 'relay-dead', value: 2 })
    await ask('ROUT:CLOS (@1:3)')
    expect([...contacts]).toEqual([1, 3])
    expect(await ask('ROUT:CLOS? (@2)')).toBe('1')
  })

  test('inputs show their contacts', async () => {
    const { ask, inputs } = board()
    inputs.add(2)
    expect(await ask('DIG:INP? 2')).toBe('1')
    expect(await ask('DIG:INP? 1')).toBe('0')
  })
})

describe('hold-in relay', () => {
  function contactor() {
    const state = { closed: false }
    const switches = new BenchSwitches()
    return {
      state, switches,
      ...rig(setup => new HoldInRelay(setup, { contact: closed => { state.closed = closed } }, switches)),
    }
  }

  test('stays closed while it is refreshed and opens within 4030 ms of the last refresh', async () => {
    const { ask, state, clock } = contactor()
    await ask('OUTP:CLOS', 60)
    expect(state.closed).toBe(true)
    for (let i = 0; i < 10; i++) await ask('OUTP:HOLD', 3500)
    expect(state.closed).toBe(true)
    await clock.advance(495)
    expect(state.closed).toBe(true)
    await clock.advance(40)
    expect(state.closed).toBe(false)
  })

  test('a refresh never closes an open contactor', async () => {
    const { ask, state } = contactor()
    await ask('OUTP:HOLD')
    expect(state.closed).toBe(false)
    expect(await ask('SYST:ERR?')).toBe('-221,"Settings conflict"')
  })

  test('the open command opens within 30 ms, and losing power does too', async () => {
    const { ask, state, instrument, clock } = contactor()
    await ask('OUTP:CLOS', 100)
    await ask('OUTP:OPEN', 30)
    expect(state.closed).toBe(false)
    await ask('OUTP:CLOS', 100)
    instrument.device.powerCycle()
    await clock.advance(30)
    expect(state.closed).toBe(false)
  })
})

describe('scanners', () => {
  function scanner(profile: ScannerProfile) {
    const state = { closed: [] as readonly number[] }
    return {
      state,
      ...rig(setup => new Scanner(profile, setup, { closed: channels => { state.closed = channels } })),
    }
  }

  test('a closes one channel and no other', async () => {
    const { ask, state } = scanner('scanner-a')
    await ask('ROUT:CLOS:EXCL (@105)')
    await ask('ROUT:CLOS:EXCL (@1240)')
    expect(state.closed).toEqual([1240])
    expect(await ask('ROUT:CLOS? (@105,1240)')).toBe('0,1')
    for (const channel of [100, 141, 1301]) {
      await ask(`ROUT:CLOS:EXCL (@${channel})`)
      expect(await ask('SYST:ERR?')).toBe('-222,"Data out of range"')
    }
    expect(state.closed).toEqual([1240])
  })

  test('b keeps the first channel closed when it closes a second, and knows no exclusive close', async () => {
    const { ask, state } = scanner('scanner-b')
    await ask('ROUT:CLOS (@5)')
    await ask('ROUT:CLOS (@6)')
    expect(state.closed).toEqual([5, 6])
    await ask('ROUT:CLOS:EXCL (@7)')
    expect(await ask('SYST:ERR?')).toMatch(/^-113/)
    await ask('ROUT:OPEN:ALL')
    expect(state.closed).toEqual([])
  })

  test('the common line is open while contacts travel', async () => {
    const { ask, instrument } = scanner('scanner-a')
    await ask('ROUT:CLOS:EXCL (@105)', 2)
    expect(instrument.moving).toBe(true)
    await ask('*OPC?', 10)
    expect(instrument.moving).toBe(false)
  })
})

test('the beacon shows what it was told last', async () => {
  const { ask } = rig(setup => new Beacon(setup))
  for (const [told, shown] of [['LIVE', 'LIVE'], ['FAUL', 'FAUL'], ['GREEN', 'FAUL'], ['DARK', 'DARK']]) {
    await ask(`LAMP ${told}`)
    expect(await ask('LAMP?')).toBe(shown)
  }
})

describe('class figures', () => {
  interface Accuracy { readingPct: number; rangePct: number }
  interface Range { rangeV: number; overRangePct?: number; inputOhm: number; accuracy: Accuracy }
  const profile = (name: string): Record<string, never> =>
    parse(readFileSync(packageFile(`profiles/instruments/${name}.yaml`), 'utf8')) as Record<string, never>
  const percent = ({ readingPct, rangePct }: Accuracy) => [readingPct, rangePct]
  const asPercent = ({ ofReading, ofRange }: { ofReading: number; ofRange: number }) =>
    [ofReading, ofRange].map(part => Number((part * 100).toPrecision(9)))

  test.each(Object.entries(supplyRatings))('of %s are those of its profile', (name, figures) => {
    const p = profile(name)
    expect(asPercent(figures.setVoltage)).toEqual(percent(p.setAccuracyVoltage!))
    expect(asPercent(figures.setCurrent)).toEqual(percent(p.setAccuracyCurrent!))
    expect(asPercent(figures.readVoltage)).toEqual(percent(p.readAccuracyVoltage!))
    expect(asPercent(figures.readCurrent)).toEqual(percent(p.readAccuracyCurrent!))
    const same = [
      'voltageMaxV', 'currentMaxA', 'voltageStepV', 'currentStepA', 'readStepV', 'readStepA',
    ] as const
    for (const key of same) expect(figures[key], key).toBe(p[key])
    expect(supplyOutputF[name as keyof typeof supplyOutputF]).toBe(p.outputCapacitanceF)
    expect(p.protection).toMatchObject({
      overVoltageV: {
        min: figures.overVoltageMinV, max: figures.overVoltageMaxV, step: figures.overVoltageStepV,
      },
      overCurrentA: { max: figures.overCurrentMaxA, step: figures.overCurrentStepA },
    })
  })

  test.each(Object.entries(meterFigures))('of %s are those of its profile', (name, figures) => {
    const p = profile(name)
    const ranges = p.ranges as unknown as Range[]
    expect(figures.ranges.map(r => [r.rangeV, r.overRange, ...asPercent(r.limits)])).toEqual(
      ranges.map(r => [r.rangeV, 1 + (r.overRangePct ?? 0) / 100, ...percent(r.accuracy)]))
    expect(ranges.every(r => r.inputOhm === figures.inputOhm)).toBe(true)
    expect(figures.speeds).toEqual(
      (p.speeds as unknown as { nplc: number; resolution: number }[]).map(s => [s.nplc, s.resolution])
    )
    expect([figures.conversions, figures.overheadMs]).toEqual([p.conversions ?? 1, p.overheadMs])
  })

  test('of bridges, relays, contactor, scanners and thermometer are those of their profiles', () => {
    for (const [name, { basic, measureMs, zsOhm, yoS }] of Object.entries(bridgeFigures)) {
      expect(profile(name)).toMatchObject({ measureMs, accuracy: { basicPct: basic * 100, zsOhm, yoS } })
    }
    expect(profile('relay-board-a')).toMatchObject({
      relays: { last: relayFigures.relayMax }, relaysPerCommand: relayFigures.perCommandMax,
      settleMs: relayFigures.settleMs,
    })
    const cutoff = profile('hold-in-relay-a') as unknown as { holdMs: number; settleMs: number }
    expect(cutoff.holdMs).toBe(holdInFigures.holdMs)
    expect(holdInFigures.closeMs).toBeLessThanOrEqual(cutoff.settleMs)
    for (const [name, { settleMs }] of Object.entries(scannerFigures)) {
      expect(profile(name)).toMatchObject({ settleMs })
    }
    const { offsetK, ofReading, stepK, readMs } = thermometerFigures
    expect(profile('thermometer-a')).toMatchObject(
      { accuracy: { offsetK, readingPct: ofReading * 100 }, stepK, readMs }
    )
  })
})
