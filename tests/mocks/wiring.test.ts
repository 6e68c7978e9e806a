import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { makePart, partKinds } from '../../mocks/parts/make-part.ts'
import type { PartKind } from '../../mocks/parts/make-part.ts'
import { ElectrolyticPart } from '../../mocks/parts/part.ts'
import { plainTruth } from '../../mocks/parts/truth.ts'
import type { PartTruth } from '../../mocks/parts/truth.ts'
import { Wiring } from '../../mocks/wiring/wiring.ts'
import type { WiringModel } from '../../mocks/wiring/wiring.ts'

const rated = { voltageV: 450, capacitanceF: 47e-6 }
const ideal: Partial<PartTruth> = { bulkPerS: 0, weakFraction: 0 }
const capacitor = (over: Partial<PartTruth> = {}): ElectrolyticPart =>
  new ElectrolyticPart('made', rated, plainTruth(rated, { ...ideal, ...over }), 1)

function rack(parts: (ElectrolyticPart | null)[], model: Partial<WiringModel> = {}): Wiring {
  return new Wiring({ positions: parts.map(part => ({ part })), ...model })
}

/** All positions on the bus, cutoff closed, supply on. */
function energise(w: Wiring, voltageV: number, currentLimitA = 0.5): void {
  for (let i = 0; i < w.positionCount; i++) w.position(i, 'bus')
  w.cutoff(true)
  w.setSupply({ voltageV, currentLimitA, on: true })
}

const within = (actual: number, expected: number, relative: number): void =>
  expect(Math.abs(actual / expected - 1), `${actual} against ${expected}`).toBeLessThan(relative)

describe('charging', () => {
  it('follows the closed form behind diode, limiting and sense resistor', () => {
    // hardly any capacitance to charge before the bus stands
    const w = rack([capacitor()], { supply: { outputF: 1e-9 }, bus: { capacitanceF: 1e-12 } })
    energise(w, 450.6)
    const tau = 101e3 * 47e-6
    for (const t of [1, 3, 5, 10, 20]) {
      w.advanceTo(t)
      within(w.partV(0), 450 * -Math.expm1(-t / tau), 1e-4)
      within(w.senseV(0), 450 / 101 * Math.exp(-t / tau), 1e-3)
    }
    expect(w.busV()).toBeCloseTo(450, 9)
    expect(w.supplyMode()).toBe('cv')
  })

  it('under the current limit rises by I/C on the part and shows it on supply, bus and sense', () => {
    const w = rack([capacitor()], { bus: { bleederOhm: 1e12, meterOhm: 1e12 } })
    energise(w, 450.6, 2e-3)
    w.advanceTo(1)
    const before = w.partV(0)
    expect(w.supplyMode()).toBe('cc')
    within(w.supplyCurrentA(), 2e-3 / (1 + 1e-6 / 47e-6), 5e-3)
    within(w.senseV(0), 2 / (1 + 1e-6 / 47e-6), 5e-3)
    within(w.busV() - before, 101e3 * w.senseV(0) / 1000, 1e-6)
    w.advanceTo(4)
    // supply and bus capacitors take their share of the limit
    within((w.partV(0) - before) / 3, 2e-3 / (47e-6 + 1e-6 + 10e-9), 1e-3)
    w.advanceTo(60)
    expect(w.supplyMode()).toBe('cv')
    within(w.partV(0), 450, 1e-3)
  })

  it('shares a limited supply among parts by their resistors', () => {
    const w = new Wiring({
      positions: [{ part: capacitor(), limitOhm: 50e3 }, { part: capacitor(), limitOhm: 100e3 }],
    })
    energise(w, 400, 1e-3)
    w.advanceTo(0.5)
    within(w.senseV(0), (w.busV() - w.partV(0)) / 51, 1e-9)
    within(w.senseV(1), (w.busV() - w.partV(1)) / 101, 1e-9)
    expect(w.senseV(0) / w.senseV(1)).toBeGreaterThan(1.7)
    const sum = (w.senseV(0) + w.senseV(1)) / 1000 + w.busV() * (1 / 470e3 + 1e-7)
    within(w.supplyCurrentA(), sum, 1e-9)
  })

  it('through the low resistor of the formal reading brings the part itself to the bus', () => {
    const w = rack([makePart('stale', rated, 1, { depth: 1 })])
    energise(w, 450.6)
    w.advanceTo(3 * 3600)
    const lost = 450 - w.partV(0)
    w.formal(0, true)
    w.advanceTo(3 * 3600 + 10)
    expect(lost).toBeGreaterThan(3)
    expect(450 - w.partV(0)).toBeLessThan(lost / 10)
    w.fault(0, { formal: 'not-closing' })
    w.advanceTo(4 * 3600)
    expect(450 - w.partV(0)).toBeGreaterThan(1)
  })
})

describe('what a supply cannot do', () => {
  it('turned down, it takes nothing back: the diode blocks and parts sag through bleeders only', () => {
    const w = rack([capacitor()])
    energise(w, 400.6)
    w.advanceTo(60)
    w.setSupply({ voltageV: 100 })
    w.advanceTo(62)
    expect(w.supplyCurrentA()).toBe(0)
    expect(w.supplyOutputV()).toBeCloseTo(100, 0)
    const bleed = 1 / (1 / 470e3 + 1 / 10e6)
    within(w.busV(), w.partV(0) * bleed / (bleed + 101e3), 1e-3)
    within(w.partV(0), 400 * Math.exp(-2 / ((bleed + 101e3) * 47e-6)), 1e-3)
    expect(w.senseV(0)).toBeLessThan(0)
    w.advanceTo(200)
    expect(w.busV()).toBeCloseTo(99.4, 6)
    expect(w.supplyCurrentA()).toBeGreaterThan(0)
  })

  it('with the cutoff open its output falls by its own bleeder, and the dead bus by the bus bleeder', () => {
    const w = rack([null])
    energise(w, 400.6)
    w.advanceTo(1)
    expect(w.supplyOutputV()).toBeCloseTo(400.6, 6)
    w.cutoff(false)
    w.setSupply({ on: false })
    w.advanceTo(1.05)
    within(w.supplyOutputV(), 400.6 * Math.exp(-0.05 / 0.1), 1e-2)
    expect(w.busV()).toBeLessThan(0.1)
    w.advanceTo(3)
    expect(w.busV()).toBe(0)
  })
})

describe('bleeding', () => {
  it('released, a part discharges through its own bleeder, read as negative sense volts', () => {
    const w = rack([capacitor(), capacitor()])
    energise(w, 450.6)
    w.advanceTo(100)
    w.position(0, 'bleeder')
    for (const t of [1, 5, 15]) {
      w.advanceTo(100 + t)
      within(w.partV(0), 450 * Math.exp(-t / (101e3 * 47e-6)), 1e-4)
      within(-w.senseV(0) / 1000 * 101e3, w.partV(0), 1e-6)
    }
    within(w.partV(1), 450, 1e-4)
  })

  it('lets absorption bring back volts, seen through the watch resistor, never more than 15 per cent', () => {
    for (const seed of [1, 2, 3, 4]) {
      const w = rack([makePart('healthy', rated, seed)])
      energise(w, 450.6)
      w.advanceTo(4 * 3600)
      w.position(0, 'bleeder')
      w.advanceTo(4 * 3600 + 120)
      const bled = w.partV(0)
      w.bleedWatch(true)
      let peak = 0
      for (let t = 0; t <= 900; t += 10) {
        w.advanceTo(4 * 3600 + 120 + t)
        peak = Math.max(peak, w.partV(0))
        within(-w.senseV(0) / 1000 * 10.101e6, w.partV(0), 1e-5)
      }
      expect(bled).toBeLessThan(3)
      expect(peak).toBeGreaterThan(2 * bled)
      expect(peak).toBeLessThan(0.15 * 450)
      w.bleedWatch(false)
      w.advanceTo(4 * 3600 + 1200)
      expect(w.partV(0)).toBeLessThan(2)
    }
  })
})

describe('faults of parts', () => {
  it('a shorted part draws V/R and no more, and its neighbours do not notice', () => {
    const build = (kind: 'shorting' | 'healthy'): Wiring => rack([
      makePart(kind, rated, 1, kind === 'shorting' ? { atFraction: 0.5, afterS: 30, toOhm: 30 } : {}),
      makePart('healthy', rated, 2), makePart('stale', rated, 3, { depth: 0.2 }),
    ])
    const shorted = build('shorting')
    const sound = build('healthy')
    for (const w of [shorted, sound]) { energise(w, 450.6); w.advanceTo(1200) }
    expect(shorted.path(0)).toBe('bus')
    within(shorted.senseV(0), 450 / 101.03, 1e-3)
    within(shorted.audit().positions[0]!.limitMaxW, 450 ** 2 / 101e3 * 100 / 101, 0.02)
    for (const i of [1, 2]) within(shorted.partV(i), sound.partV(i), 1e-9)
  })

  it('a short under the formal resistor pulls the bus down until it is dropped', () => {
    const w = rack([
      makePart('shorting', rated, 1, { atFraction: 0.95, afterS: 60, toOhm: 30 }),
      makePart('healthy', rated, 2),
    ])
    energise(w, 450.6, 0.05)
    w.advanceTo(40)
    w.formal(0, true)
    w.advanceTo(200)
    expect(w.supplyMode()).toBe('cc')
    within(w.supplyCurrentA(), 0.05, 0.02)
    expect(w.busV()).toBeLessThan(70)
    expect(w.partV(1)).toBeGreaterThan(w.busV())
    expect(w.fuseBlown(0)).toBe(false)
    w.position(0, 'bleeder')
    w.advanceTo(240)
    expect(w.supplyMode()).toBe('cv')
    within(w.partV(1), 450, 1e-2)
  })

  it('melts the fuse when a strong supply feeds a short; then nothing is measured', () => {
    const w = rack([makePart('shorting', rated, 1, { atFraction: 0.9, afterS: 60, toOhm: 20 })])
    energise(w, 450.6, 1)
    w.advanceTo(40)
    w.formal(0, true)
    w.advanceTo(200)
    expect(w.fuseBlown(0)).toBe(true)
    expect(w.senseV(0)).toBe(0)
    expect(w.audit().positions[0]!.senseMaxV).toBe(10)
  })
})

describe('faults of the wiring', () => {
  it('a welded relay keeps the part on the bus, a relay that does not close keeps it on its bleeder', () => {
    const w = rack([capacitor(), capacitor()])
    w.fault(0, { relay: 'welded' })
    w.fault(1, { relay: 'not-closing' })
    w.cutoff(true)
    w.position(1, 'bus')
    w.setSupply({ voltageV: 100.6, currentLimitA: 0.1, on: true })
    w.advanceTo(60)
    within(w.partV(0), 100, 1e-3)
    expect(w.partV(1)).toBe(0)
    w.position(0, 'bleeder')
    expect(w.path(0)).toBe('bus')
  })

  it('an open lead or an open bleeder strands the charge while sense reads zero', () => {
    for (const fault of [{ lead: 'open' }, { bleeder: 'open' }] as const) {
      const w = rack([capacitor()])
      energise(w, 300.6)
      w.advanceTo(60)
      w.fault(0, fault)
      w.position(0, 'bleeder')
      w.advanceTo(600)
      expect(w.senseV(0)).toBe(0)
      within(w.partV(0), 300, 1e-3)
      w.fault(0, { lead: null, bleeder: null })
      w.advanceTo(700)
      expect(w.partV(0)).toBeLessThan(1e-3)
    }
  })

  it('a welded cutoff leaves the bus fed; a cutoff that does not close leaves it dead', () => {
    const w = rack([capacitor()])
    energise(w, 100.6)
    w.cutoffFault('welded')
    w.cutoff(false)
    w.advanceTo(10)
    expect(w.busV()).toBeCloseTo(100, 9)
    const v = rack([capacitor()])
    v.cutoffFault('not-closing')
    energise(v, 100.6)
    v.advanceTo(10)
    expect(v.busV()).toBe(0)
    expect(v.supplyCurrentA()).toBe(0)
  })
})

describe('the bridge', () => {
  it('sees the part only when selected and the relay is released', () => {
    const w = rack([makePart('healthy', rated, 1)])
    expect(w.bridge(0, 120).im).toBe(-Infinity)
    w.bridgeSelect(0)
    within(-1 / (2 * Math.PI * 120 * w.bridge(0, 120).im), 47e-6, 0.2)
    w.position(0, 'bus')
    expect(w.bridge(0, 120).im).toBe(-Infinity)
    expect(w.audit().positions[0]!.bridgeMaxV).toBe(0)
  })

  it('has a line of its own: open with no relay held, and on every part whose relay is welded', () => {
    const w = rack([capacitor(), capacitor()])
    const farads = (): number => -1 / (2 * Math.PI * 120 * w.bridgeLine(120).im)
    expect(w.bridgeLine(120).im).toBe(-Infinity)
    w.fault(1, { bridge: 'welded' })
    const one = farads()
    within(one, 47e-6, 0.2)
    w.bridgeSelect(0)
    within(farads(), 2 * one, 1e-3)
    w.fault(0, { bridge: 'not-closing' })
    within(farads(), one, 1e-9)
    expect(w.path(0)).toBe('bleeder')
    w.position(1, 'bus')
    expect(w.bridgeLine(120).im).toBe(-Infinity)
  })

  it('remembers the volts it was connected to', () => {
    const w = rack([capacitor()])
    energise(w, 200.6)
    w.advanceTo(60)
    w.bridgeSelect(0)
    w.position(0, 'bleeder')
    within(w.audit().positions[0]!.bridgeMaxV, 200, 1e-3)
  })
})

describe('a known resistor or an empty holder', () => {
  it('reads as volts over resistance', () => {
    const w = rack([null, null])
    w.insert(0, null, 10e6)
    energise(w, 450.6)
    w.advanceTo(1)
    within(w.senseV(0), 450 * 1000 / 10.101e6, 1e-9)
    within(w.senseV(1), 450 * 1000 / 1e12, 1e-6)
  })
})

describe('any night', () => {
  const action = fc.oneof(
    fc.record({ set: fc.integer({ min: 0, max: 450 }), limitA: fc.constantFrom(1e-3, 0.01, 0.1) }),
    fc.record({ cutoff: fc.boolean() }), fc.record({ watch: fc.boolean() }),
    fc.record({ move: fc.integer({ min: 0, max: 5 }), bus: fc.boolean() }),
    fc.record({ formal: fc.integer({ min: 0, max: 5 }), bus: fc.boolean() }),
    fc.record({ waitS: fc.double({ min: 1e-3, max: 3000, noNaN: true }) }),
    fc.record({ waitS: fc.constant(60) }),
  )
  type Action = { [K in 'set' | 'limitA' | 'move' | 'formal' | 'waitS']?: number }
    & { [K in 'cutoff' | 'watch' | 'bus']?: boolean }

  function play(kinds: readonly PartKind[], seed: number, actions: Action[], tickS: number): Wiring {
    const w = rack(kinds.map((kind, i) => makePart(kind, rated, seed + i)))
    energise(w, 100, 0.1)
    for (const a of actions) {
      if (a.set !== undefined) w.setSupply({ voltageV: a.set, currentLimitA: a.limitA! })
      if (a.cutoff !== undefined) w.cutoff(a.cutoff)
      if (a.watch !== undefined) w.bleedWatch(a.watch)
      if (a.move !== undefined) w.position(a.move, a.bus! ? 'bus' : 'bleeder')
      if (a.formal !== undefined) w.formal(a.formal, a.bus!)
      if (a.waitS === undefined) continue
      const until = w.nowS + a.waitS
      while (w.nowS < until) {
        w.advanceTo(Math.min(until, w.nowS + tickS))
        for (let i = 0; i < kinds.length; i++) w.senseV(i)
      }
    }
    return w
  }

  it('never shows a node above what the supply was set to, and its currents balance', () => {
    fc.assert(fc.property(
      fc.array(fc.constantFrom(...partKinds), { minLength: 6, maxLength: 6 }),
      fc.integer({ min: 0, max: 9999 }),
      fc.array(action as fc.Arbitrary<Action>, { maxLength: 14 }),
      (kinds, seed, actions) => {
        const w = play(kinds, seed, actions, 500)
        // the bus's own small capacitor is not in the sum below: let the last change pass
        w.advanceTo(w.nowS + 0.1)
        const audit = w.audit()
        expect(audit.busMaxV).toBeLessThan(450 - 0.6 + 1e-3)
        expect(audit.supplyMaxV).toBeLessThan(450 + 1e-3)
        for (const p of audit.positions) expect(p.part!.voltsMaxV).toBeLessThan(450 - 0.6 + 1e-3)
        let onBusA = w.busV() * (1 / 470e3 + 1e-7)
        kinds.forEach((_, i) => {
          if (w.path(i) === 'bus') onBusA += w.part(i)!.currentA(w.nowS)
          expect(w.energyJ(i)).toBeGreaterThanOrEqual(0)
          const { inC, storedC, leakedC } = w.part(i)!.ledger(w.nowS)
          expect(Math.abs(inC - storedC - leakedC)).toBeLessThan(1e-9 * (1 + Math.abs(inC)))
        })
        expect(Math.abs(onBusA - w.supplyCurrentA())).toBeLessThan(2e-4)
      }), { numRuns: 100 })
  })

  it('is the same to the last bit for the same seed and calls', () => {
    const kinds = ['healthy', 'stale', 'shorting', 'scintillating', 'bad-contact', 'reversed'] as const
    const actions: Action[] = [
      { set: 300, limitA: 0.01 }, { waitS: 2000 }, { move: 2, bus: false }, { waitS: 900 },
    ]
    const [a, b] = [play(kinds, 5, actions, 0.5), play(kinds, 5, actions, 0.5)]
    expect(b.audit()).toEqual(a.audit())
  })

  it('hardly depends on how often it is looked at', () => {
    const kinds = ['healthy', 'stale', 'very-stale', 'hopeless-leaky', 'dried-out', 'reversed'] as const
    const actions: Action[] = [
      { set: 300, limitA: 2e-3 }, { waitS: 600 }, { set: 450, limitA: 0.1 }, { waitS: 2000 },
      { cutoff: false }, { waitS: 30 },
    ]
    const often = play(kinds, 5, actions, 0.1)
    const seldom = play(kinds, 5, actions, 1e9)
    kinds.forEach((_, i) => expect(Math.abs(often.partV(i) - seldom.partV(i))).toBeLessThan(2e-3))
  })
})
