import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { benchFileOf } from '../../mocks/bench/layout.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { channelTable } from '../../src/engine/channels.ts'
import { freshnessOf, limitsOf, watchesOf, withoutCaseSensor } from '../../src/engine/limits.ts'
import type { Night } from '../../src/engine/night.ts'
import { freshPosition, seriesOhm } from '../../src/engine/position.ts'
import { chargeBudgetC } from '../../src/safety/charge.ts'
import { Supervisor } from '../../src/safety/supervisor.ts'
import type { Demand } from '../../src/safety/supervisor.ts'
import { benchFile } from '../../src/schema/bench.ts'
import { partProfile } from '../../src/schema/part-profile.ts'
import type { Channel, Quality } from '../../src/schema/reading.ts'
import { busTolerance } from '../../src/engine/bus.ts'

const targetV = 450
const profile = partProfile.parse({
  name: 'can', kind: 'aluminium-electrolytic', capacitanceF: 47e-6, ratedV: 450, leakage: { family: 'general' },
  dissipationMax: 0.2, shedW: 0.5,
})

/** An armed supervisor over two cans: the first with a sensor on it, the second without. */
class Rack {
  readonly night: Night
  readonly demands: Demand[] = []
  nowMs = 0

  constructor() {
    const bench = benchFile.parse(benchFileOf(scenarioHealthyRack(2, 1), {}))
    delete bench.fixture.positions[1]!.thermometer
    const channels = channelTable(bench.fixture)
    const positions = bench.fixture.positions.slice(0, 2).map((spec, index) =>
      freshPosition(index, spec, { position: spec.name, part: `C${index}`, profile: 'can', note: '', condition: 'sound' }, profile))
    for (const position of positions) position.wiring = 'bus'
    this.night = {
      bench, channels, positions, supervisor: new Supervisor(channels.all), clock: new VirtualClock(),
      plan: { targetV, supplyLimitA: 0.02, sweepS: 0.1 }, roles: { thermometer: { stepK: 0.01, noiseK: 0.02 }, supply: { ratings: { currentStepA: 1e-4 } } }, sampler: { busV: null, supplyA: null },
      state: { setV: 0, live: true },
    } as unknown as Night
    this.night.supervisor.arm(limitsOf(this.night), freshnessOf(this.night), { voltageV: targetV, currentA: 0.02 }, 0, watchesOf(this.night))
  }

  get supervisor(): Supervisor { return this.night.supervisor }

  read(channel: Channel, value: number, quality: Quality = 'good', u = 5e-9): void {
    const demand = this.supervisor.judge({ channel, value, u, quality, atMs: this.nowMs })
    if (demand) this.demands.push(demand)
  }
  bus(volts: number): void {
    for (const position of this.night.positions) position.currentAtBusV = volts
    this.read(this.night.channels.busVoltage, volts)
  }
  current(index: number, amps: number): void {
    this.night.positions[index]!.current = { value: amps, u: 5e-9, quality: 'good', atMs: this.nowMs }
    this.read(this.night.channels.current[index]!, amps)
  }
  case(celsius: number, quality: Quality = 'good'): void { this.read(this.night.channels.caseTemperature[0]!, celsius, quality) }
  set(volts: number): void {
    this.night.state.setV = volts
    this.supervisor.setBound('bus.over', volts + 0.7 + busTolerance(this.night))
  }

  /** Everything as a sound bench reads it for `seconds` at the bus `volts`. */
  sound(seconds: number, volts: number, amps = 50e-6, random = new SeededRandom(1)): void {
    for (let s = 0; s < seconds; s++) {
      this.nowMs += 1000
      this.bus(volts + 0.02 * random.normal())
      this.read(this.night.channels.supplyVoltage, volts + 0.7 + 0.02 * random.normal())
      for (const { index } of this.night.positions) this.current(index, amps + 3e-9 * random.normal())
      if (s % 10 === 0) this.case(22 + 0.02 * random.normal())
    }
  }

  /** The bus raised as it is in a step of forming. */
  raise(toV: number, volts: (askedV: number) => number, amps: (askedV: number) => number): void {
    for (let askedV = this.night.state.setV + 1; askedV <= toV; askedV++) {
      this.set(askedV)
      this.nowMs += 1000
      this.bus(volts(askedV))
      for (const { index } of this.night.positions) this.current(index, amps(askedV) * (1 + 0.01 * index))
    }
  }
}

function stoppedBy(rack: Rack, id: string): void {
  expect(rack.demands.map(demand => demand.id)).toEqual([id])
  expect(rack.demands[0]!.reaction).toBe('stop')
  expect(() => rack.supervisor.permit(1, 1e-3)).toThrow(/withheld/)
  expect(() => rack.supervisor.permitConnect('P01')).toThrow(/withheld/)
}

function droppedBy(rack: Rack, id: string, verdict: [grade: string, disposition: string]): void {
  const [demand] = rack.demands
  expect(rack.demands.map(one => one.id)).toEqual([id])
  expect([demand!.reaction, demand!.verdict?.grade, demand!.verdict?.disposition]).toEqual(['drop', ...verdict])
  rack.supervisor.release(demand!.position!)
  expect(() => rack.supervisor.permitConnect(demand!.position!)).toThrow(/dropped/)
  expect(() => rack.supervisor.permit(1, 1e-3)).not.toThrow()
}

describe('a sound rack', () => {
  it('trips nothing from the first volt to the target and in the soak', () => {
    const rack = new Rack()
    rack.sound(20, 0, 1e-9)
    for (let toV = 45; toV <= 450; toV += 45) {
      rack.raise(toV, askedV => askedV + 0.1 * Math.sin(askedV), askedV => 47e-6 + 1e-8 * askedV)
      rack.sound(120, toV)
    }
    rack.sound(600, 450)
    expect(rack.demands).toEqual([])
    expect(rack.supervisor.latched).toBeNull()
  })
})

describe('what stops the bench', () => {
  it('a bus that rises though nothing asked for it, long before it is over its limit', () => {
    const rack = new Rack()
    rack.set(200)
    rack.sound(20, 200)
    for (const atMs of [100, 200]) { rack.nowMs += atMs; rack.bus(200 + 0.5 * busTolerance(rack.night) + 0.1) }
    stoppedBy(rack, 'bus.rise')
  })
  it('a bus meter that stays where it is while the bus is raised by 10 V', () => {
    const rack = new Rack()
    rack.set(200)
    rack.sound(20, 200)
    rack.raise(225, () => 200, askedV => 47e-6 + 1e-8 * askedV)
    stoppedBy(rack, 'bus.still')
  })
  it('a sense meter that gives every position the same reading while the bus is raised', () => {
    const rack = new Rack()
    rack.set(200)
    rack.sound(20, 200)
    const stuck = (): void => { for (const { index } of rack.night.positions) rack.current(index, 5e-5) }
    stuck()
    for (let askedV = 201; askedV <= 225; askedV++) { rack.set(askedV); rack.nowMs += 1000; rack.bus(askedV); stuck() }
    stoppedBy(rack, 'sense.still')
  })
  it('a supply whose current repeats to the bit while the bus alone comes to take more', () => {
    const raised = (ampsOf: (askedV: number) => number): Rack => {
      const rack = new Rack()
      rack.set(100)
      rack.sound(20, 100)
      const { supplyCurrent } = rack.night.channels
      for (let askedV = 101; askedV <= 400; askedV++) {
        rack.set(askedV)
        rack.nowMs += 1000
        rack.bus(askedV + 0.01 * (askedV % 3))
        rack.read(supplyCurrent, ampsOf(askedV))
      }
      return rack
    }
    stoppedBy(raised(() => 1.2e-3), 'supply.still')
    expect(raised(askedV => 1e-4 * Math.round(askedV / 470e3 * 1e4)).demands).toEqual([])
    // At its limit it holds its current, and below its offset it reads nothing: neither is a fault of this kind.
    expect(raised(() => 0.019).demands).toEqual([])
    expect(raised(() => 0).demands).toEqual([])
  })
  it('a supply that reads something else than it was set to', () => {
    const rack = new Rack()
    rack.set(200)
    rack.sound(20, 200)
    for (let i = 0; i < 30; i++) { rack.nowMs += 1000; rack.read(rack.night.channels.supplyVoltage, 188) }
    stoppedBy(rack, 'supply.read-back')
  })
})

describe('what drops a part', () => {
  it('more charge than one night allows, counted for each part by itself: form it another night', () => {
    const rack = new Rack()
    rack.set(450)
    const needS = chargeBudgetC(47e-6, 450) / 1e-3
    for (let s = 0; s < needS + 20 && rack.demands.length === 0; s += 10) {
      rack.nowMs += 10_000
      rack.current(0, 1e-3)
      rack.current(1, 1e-6)
    }
    expect(rack.nowMs / 1000).toBeCloseTo(needS, -2)
    droppedBy(rack, 'P01.charge', ['cannot tell', 'form'])
  })
  it('power past what the can sheds, only where no sensor is on it, and only when it lasts; not condemned', () => {
    const rack = new Rack()
    rack.set(450)
    for (const position of rack.night.positions) position.formal = true
    // 0.54 W, for longer than charging through the low resistor may take (5.1 s by half the supply's limit).
    const hold = (seconds: number): void => {
      for (let s = 0; s < seconds; s++) {
        rack.nowMs += 1000
        rack.bus(450 + 0.01 * s)
        for (const i of [0, 1]) rack.current(i, 1.2e-3 + 1e-8 * s)
      }
    }
    hold(2)
    rack.nowMs += 1000
    for (const i of [0, 1]) rack.current(i, 1e-6)
    hold(3)
    expect(rack.demands).toEqual([])
    hold(20)
    droppedBy(rack, 'P02.power', ['cannot tell', 'retest'])
  })
  it('power at what the can sheds, and not a millionth below', () => {
    const after = (watts: number): Rack => {
      const rack = new Rack()
      const part = rack.night.positions[1]!
      part.formal = true
      const ohm = seriesOhm(rack.night.bench.fixture, part, false)
      const amps = (targetV - Math.sqrt(targetV ** 2 - 4 * ohm * watts)) / (2 * ohm)
      rack.set(targetV)
      for (let s = 0; s < 20; s++) { rack.nowMs += 1000; rack.bus(targetV); rack.current(1, amps) }
      return rack
    }
    expect(after(0.5 * (1 - 1e-6)).demands).toEqual([])
    droppedBy(after(0.5 * (1 + 1e-9)), 'P02.power', ['cannot tell', 'retest'])
  })
  it('a can that is too hot: condemned', () => {
    const rack = new Rack()
    for (let i = 0; i <= 40; i++) { rack.nowMs += 20_000; rack.case(20 + 0.65 * i) }
    droppedBy(rack, 'P01.case', ['reject', 'replace'])
  })
  it('a can that reads over-range: an open sensor does too, and nothing is said of the part', () => {
    const rack = new Rack()
    const { caseTemperature } = rack.night.channels
    for (let i = 0; i < 2; i++) { rack.nowMs += 20_000; rack.read(caseTemperature[0]!, Infinity, 'over-range') }
    droppedBy(rack, 'P01.case', ['cannot tell', 'retest'])
  })
  it('a current over-range: condemned only where bus or supply shows a short too', () => {
    const after = (busV: number, supplyA: number, volts = targetV): Rack => {
      const rack = new Rack()
      rack.set(volts)
      const seen = (value: number, u: number): object => ({ value, u, quality: 'good', atMs: rack.nowMs })
      Object.assign(rack.night.sampler, { busV: seen(busV, 0.1), supplyA: seen(supplyA, 1e-4) })
      for (let i = 0; i < 2; i++) { rack.nowMs += 1000; rack.read(rack.night.channels.current[0]!, Infinity, 'over-range') }
      return rack
    }
    droppedBy(after(450, 1.05e-3), 'P01.current', ['cannot tell', 'retest'])
    droppedBy(after(0, 0, 0), 'P01.current', ['cannot tell', 'retest'])
    droppedBy(after(450 - 2 * 10.5 - 1, 1.05e-3), 'P01.current', ['reject', 'replace'])
    droppedBy(after(450, 0.98 * 0.02), 'P01.current', ['reject', 'replace'])
    droppedBy(after(450, 1.05e-3 + 4.4e-3), 'P01.current', ['reject', 'replace'])
  })
  it('a can that forming warmed: told by its current, which falls while the bus stands, and not condemned', () => {
    const after = (ampsOf: (i: number) => number): Rack => {
      const rack = new Rack()
      rack.set(targetV)
      for (let i = 0; i <= 40; i++) {
        rack.nowMs += 20_000
        rack.bus(targetV + 0.01 * (i % 3))
        rack.current(0, ampsOf(i))
        rack.case(20 + 0.65 * i)
      }
      return rack
    }
    droppedBy(after(i => 1.2e-3 * Math.exp(-i / 100)), 'P01.case', ['cannot tell', 'form'])
    droppedBy(after(i => 1.2e-3 + 1e-7 * i), 'P01.case', ['reject', 'replace'])
  })
  it('a can that warms by its allowance within a minute: nothing can be said', () => {
    const rack = new Rack()
    for (const celsius of [22, 22, 33, 33.1]) { rack.nowMs += 10_000; rack.case(celsius) }
    droppedBy(rack, 'P01.case-rise', ['cannot tell', 'retest'])
  })
  it('a case sensor that repeats to the bit: nothing can be said', () => {
    const rack = new Rack()
    for (let i = 0; i < 19; i++) { rack.nowMs += 60_000; rack.case(22.34) }
    expect(rack.demands).toEqual([])
    rack.case(22.34)
    droppedBy(rack, 'P01.case-still', ['cannot tell', 'retest'])
  })
  it.each([['an open sensor', 'missing'], ['a shorted one', 'implausible'], ['no number', 'not-a-number']] as const)(
    '%s on the can: nothing can be said', (_name, quality) => {
      const rack = new Rack()
      rack.case(22)
      for (let i = 0; i < 2; i++) { rack.nowMs += 10_000; rack.case(Number.NaN, quality) }
      droppedBy(rack, 'P01.case', ['cannot tell', 'retest'])
    })
  it('one bad reading of a sensor drops nothing', () => {
    const rack = new Rack()
    for (let i = 0; i < 20; i++) { rack.nowMs += 10_000; rack.case(22 + 0.01 * (i % 2), i === 7 ? 'missing' : 'good') }
    expect(rack.demands).toEqual([])
  })
  it('a current that cannot be read: nothing can be said', () => {
    const rack = new Rack()
    for (let i = 0; i < 2; i++) { rack.nowMs += 1000; rack.read(rack.night.channels.current[1]!, NaN, 'missing') }
    droppedBy(rack, 'P02.current', ['cannot tell', 'retest'])
  })
})

describe('positions without a case sensor', () => {
  it('are those without a channel, or all where there is no thermometer', () => {
    const { night } = new Rack()
    expect(withoutCaseSensor(night).map(({ spec }) => spec.name)).toEqual(['P02'])
    expect(withoutCaseSensor({ ...night, roles: {} }).map(({ spec }) => spec.name)).toEqual(['P01', 'P02'])
  })
})
