import { describe, expect, test } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { benchFile } from '../../src/schema/bench.ts'
import { createSimBench, type SimBenchOptions } from '../../mocks/bench/sim-bench.ts'
import { scenarioHealthyRack, scenarioPavilion } from '../../mocks/bench/scenarios.ts'
import { instrumentNames, positionsOf, type InstrumentName } from '../../mocks/bench/layout.ts'

function bench(over: Partial<SimBenchOptions> = {}) {
  const clock = new VirtualClock()
  const scenario = scenarioHealthyRack(4, 7, { staleFraction: 0 })
  const sim = createSimBench({ seed: 7, scenario, clock, ...over })
  const ask = async (name: InstrumentName, line: string, waitMs = 200): Promise<string> => {
    let answer = ''
    sim.instruments[name].receive(
      Buffer.from(`${line}\n`), bytes => { answer += Buffer.from(bytes).toString('latin1') }
    )
    await clock.advance(waitMs)
    return answer.trim()
  }
  /** Keeps the contactor in while `seconds` pass. */
  const wait = async (seconds: number): Promise<void> => {
    for (let s = 0; s < seconds; s++) await ask('cutoff', 'OUTP:HOLD', 1000)
  }
  const energise = async (volts: number): Promise<void> => {
    for (const line of ['SYST:REM', `VOLT ${volts}`, 'CURR 0.05', 'OUTP ON']) await ask('psu', line)
    await ask('sense-dmm', 'SYST:REM')
    await ask('cutoff', 'OUTP:CLOS')
  }
  return { clock, sim, ask, wait, energise }
}

describe('a bench put together', () => {
  test('volts go from the supply through the cutoff to a held position and nowhere else', async () => {
    const { ask, energise, wait, sim } = bench()
    await energise(100)
    await ask('relays', 'ROUT:CLOS (@2)')
    await wait(60)
    expect(parseFloat(await ask('bus-dmm', 'MEAS?', 500))).toBeCloseTo(99.4, 0)
    expect(sim.now().partV(1)).toBeGreaterThan(90)
    expect(sim.now().partV(0)).toBeLessThan(1)
  })

  test('without refresh the contactor opens, and without its power the board bleeds every part', async () => {
    const { ask, energise, wait, sim, clock } = bench()
    await energise(100)
    await ask('relays', 'ROUT:CLOS (@2)')
    await wait(60)
    await clock.advance(4500)
    expect(await ask('cutoff', 'OUTP:STAT?')).toBe('0')
    await ask('cutoff', 'OUTP:HOLD')
    expect(await ask('cutoff', 'SYST:ERR?')).toBe('-221,"Settings conflict"')
    sim.instruments.relays.device.powerCycle()
    await clock.advance(60_000)
    expect(sim.now().partV(1)).toBeLessThan(10)
  })

  test('an open cover opens the contactor at once and keeps it from closing', async () => {
    const { ask, energise, sim, clock } = bench()
    await energise(50)
    expect(await ask('cutoff', 'OUTP:STAT?')).toBe('1')
    sim.switches.coverClosed = false
    await clock.advance(30)
    expect(await ask('cutoff', 'OUTP:STAT?')).toBe('0')
    await ask('cutoff', 'OUTP:CLOS')
    expect(await ask('cutoff', 'SYST:ERR?')).toBe('-221,"Settings conflict"')
    expect(await ask('interlock', 'INP? 1')).toBe('0')
  })

  test('the scanner leads one sense resistor to the meter, and none while all are open', async () => {
    const { ask, energise, sim, wait } = bench()
    await energise(100)
    await ask('relays', 'ROUT:CLOS (@1,2)')
    await wait(2)
    await ask('scanner', 'ROUT:CLOS:EXCL (@102)')
    const volts = Number(await ask('sense-dmm', 'READ?', 500))
    expect(volts / sim.now().senseV(1)).toBeCloseTo(1, 1)
    await ask('scanner', 'ROUT:OPEN:ALL')
    expect(Math.abs(Number(await ask('sense-dmm', 'READ?', 500)))).toBeLessThan(0.05)
  })

  test('the bridge sees a part only when its own relay leads there and the part is off the bus', async () => {
    const { ask } = bench()
    for (const line of ['FUNC:IMP CSRS', 'FREQ 120', 'TRIG:SOUR BUS', 'TRIG']) await ask('bridge', line)
    expect(await ask('bridge', 'FETC?', 700)).toMatch(/,\+1$/)
    await ask('relays', 'ROUT:CLOS (@322)')
    await ask('bridge', 'TRIG')
    const [farad, ohm, status] = (await ask('bridge', 'FETC?', 700)).split(',').map(Number)
    expect(status).toBe(0)
    expect(farad! / 47e-6).toBeGreaterThan(0.8)
    expect(farad! / 47e-6).toBeLessThan(1.3)
    expect(ohm!).toBeGreaterThan(0.1)
    await ask('relays', 'ROUT:CLOS (@2)')
    await ask('bridge', 'TRIG')
    expect(await ask('bridge', 'FETC?', 700)).toMatch(/,\+1$/)
  })

  test('a welded position relay keeps its part on the bus while the board says released', async () => {
    const { ask, sim, clock } = bench(
      { faults: { instruments: { relays: [{ kind: 'relay-welded', value: 2, fromMs: 1000 }] } } }
    )
    expect(sim.now().path(1)).toBe('bleeder')
    await clock.advance(1500)
    expect(sim.now().path(1)).toBe('bus')
    expect(await ask('relays', 'ROUT:CLOS? (@2)')).toBe('0')
    await ask('relays', 'ROUT:OPEN:ALL')
    expect(sim.now().path(1)).toBe('bus')
    expect(sim.now().path(0)).toBe('bleeder')
  })

  test('a welded contactor stays closed with its auxiliary contact, a dead one never closes', async () => {
    const welded = bench()
    await welded.energise(50)
    welded.sim.instruments.cutoff.device.faults.set({ kind: 'relay-welded' })
    await welded.ask('cutoff', 'OUTP:OPEN')
    expect(await welded.ask('cutoff', 'OUTP:STAT?')).toBe('1')
    const dead = bench({ faults: { instruments: { cutoff: [{ kind: 'relay-dead' }] } } })
    await dead.energise(50)
    expect(await dead.ask('cutoff', 'OUTP:STAT?')).toBe('0')
    expect(dead.sim.now().busV()).toBe(0)
  })

  test('an open contactor does not weld: it stays closed from the next time that it closes', async () => {
    const { ask, energise, sim } = bench()
    sim.instruments.cutoff.device.faults.set({ kind: 'relay-welds' })
    await ask('cutoff', 'OUTP:OPEN')
    expect(await ask('cutoff', 'OUTP:STAT?')).toBe('0')
    await energise(50)
    await ask('cutoff', 'OUTP:OPEN')
    expect(await ask('cutoff', 'OUTP:STAT?')).toBe('1')
  })

  test('a cover that bounces opens the contactor', async () => {
    const { ask, energise, sim, wait } = bench()
    await energise(50)
    sim.instruments.interlock.device.faults.set({ kind: 'cover-bounce', value: 5000, untilMs: 60_000 })
    await wait(2)
    expect(await ask('cutoff', 'OUTP:STAT?')).toBe('0')
    expect(await ask('interlock', 'INP? 1')).toBe('1')
  })

  test('a lead that opens at its time takes the current away, and no other', async () => {
    const { energise, ask, wait, sim } = bench(
      { faults: { fixture: [{ position: 'P02', kind: 'lead-open', fromMs: 20_000 }] } }
    )
    await energise(100)
    await ask('relays', 'ROUT:CLOS (@1,2)')
    await wait(5)
    expect(sim.now().senseV(1)).toBeGreaterThan(0)
    await wait(20)
    expect(sim.now().senseV(1)).toBe(0)
    expect(sim.now().senseV(0)).toBeGreaterThan(0)
  })
})

describe('bench files', () => {
  const scenarios = [scenarioPavilion(1), scenarioHealthyRack(48, 1), scenarioHealthyRack(470, 1)]
  test.each(scenarios)('of $name are valid', scenario => {
    const sim = createSimBench({ seed: 1, scenario, clock: new VirtualClock() })
    const parsed = benchFile.parse(sim.benchFile({ psu: 'tcp://127.0.0.1:5025' }, 'tcp://127.0.0.1:5000'))
    expect(parsed.fixture.positions).toHaveLength(scenario.parts.length + 1)
    const relays = positionsOf(scenario).flatMap(p => [p.relay, p.formalRelay, p.bridgeRelay]).filter(
      r => r !== undefined
    )
    expect(new Set(relays).size).toBe(relays.length)
    expect(Math.max(...relays)).toBeLessThanOrEqual(500)
  })

  test('name the identities that the instruments answer', async () => {
    const { sim, ask } = bench()
    const file = benchFile.parse(sim.benchFile())
    for (const name of instrumentNames) {
      const lines = (await ask(name, '*IDN?')).split(/\r?\n/)
      expect(lines[0]).toBe(file.instruments[name]!.identity)
    }
  })
})

describe('the Saltmarsh Pavilion', () => {
  test('holds ten cans of the promised kinds, in an order that the seed decides', () => {
    const kinds = (seed: number): string[] => scenarioPavilion(seed).parts.map(part => part.kind)
    expect(kinds(1).toSorted()).toEqual([
      'bad-contact', 'dried-out', 'healthy', 'healthy', 'hopeless-leaky', 'shorting', 'stale', 'stale',
      'stale', 'very-stale',
    ])
    expect(kinds(1)).toEqual(kinds(1))
    expect(new Set([1, 2, 3, 4, 5].map(seed => kinds(seed).join())).size).toBeGreaterThan(3)
  })

  test('shorts its bad can above 70 % of rated voltage and not below', async () => {
    const clock = new VirtualClock()
    const scenario = scenarioPavilion(3)
    const sim = createSimBench({ seed: 3, scenario, clock })
    const index = scenario.parts.findIndex(part => part.kind === 'shorting')
    const { wiring } = sim
    wiring.setSupply({ voltageV: 300, currentLimitA: 0.05, on: true })
    wiring.cutoff(true)
    wiring.position(index, 'bus')
    await clock.advance(3600_000)
    expect(sim.now().partV(index)).toBeGreaterThan(280)
    wiring.setSupply({ voltageV: 340 })
    await clock.advance(3600_000)
    expect(sim.now().partV(index)).toBeLessThan(20)
    expect(sim.truth()[index]!.happenings.map(h => h.kind)).toContain('short')
  })

  test.each([1, 2, 3])('has one can still forming after a night, and one that never will (seed %d)', async seed => {
    const clock = new VirtualClock()
    const scenario = scenarioPavilion(seed)
    const sim = createSimBench({ seed, scenario, clock })
    const { wiring } = sim
    wiring.setSupply({ voltageV: 450.6, currentLimitA: 0.1, on: true })
    wiring.cutoff(true)
    const at = (kind: string): number => scenario.parts.findIndex(part => part.kind === kind)
    const watched = [at('very-stale'), at('hopeless-leaky'), at('stale')]
    for (const index of watched) wiring.position(index, 'bus')
    const volts = (): number[] => watched.map(index => sim.now().partV(index))
    await clock.advance(7 * 3600_000)
    const before = volts()
    await clock.advance(3600_000)
    const [veryStale, hopeless, stale] = volts()
    expect(veryStale! - before[0]!).toBeGreaterThan(5)
    expect(veryStale).toBeLessThan(400)
    expect(hopeless! - before[1]!).toBeLessThan(4)
    expect(stale).toBeGreaterThan(440)
  })
})
