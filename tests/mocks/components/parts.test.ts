/** Simulated components against closed forms, and laws that hold for any part with any sources on it. */
import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { squareLaw } from '../../../mocks/components/channel.ts'
import { Component, type ComponentTruth } from '../../../mocks/components/component.ts'
import { componentKinds, defectsOf, usualRatings, type ComponentKind } from '../../../mocks/components/kinds.ts'
import { makeComponent } from '../../../mocks/components/make-component.ts'
import type { Drive } from '../../../mocks/components/solve-dc.ts'

const volts = (high: number, low: number, value: number, limit = 1): Drive => ({ high, low, mode: 'voltage', value, limit })
const amps = (high: number, low: number, value: number, limit = 60): Drive => ({ high, low, mode: 'current', value, limit })

/** A sound part whose hidden values the test writes over. */
function part(kind: ComponentKind, values: Record<string, number> = {}, over: Partial<ComponentTruth> = {}): Component {
  const sound = makeComponent(kind, usualRatings[kind], 7).truth
  return new Component({ ...sound, ...over, values: { ...sound.values, ...values } }, 7)
}

const near = (got: number, want: number, share: number): void =>
  expect(Math.abs(got / want - 1), `${got} for ${want}`).toBeLessThan(share)

/** kT/q at 25 °C from the CODATA constants (exact since 2019): 1.380649e-23 · 298.15 / 1.602176634e-19. */
const vt = 1.380649e-23 * 298.15 / 1.602176634e-19

describe('parts that obey no junction', () => {
  test('a resistor takes volts over ohms, and a limit holds what it must', () => {
    const r = part('resistor', { ohm: 1000, perK: 0, perV: 0 })
    expect(r.dc([volts(0, 1, 5)]).drives[0]).toMatchObject({ limited: false, amps: expect.closeTo(5e-3, 12) })
    expect(r.dc([volts(0, 1, 5, 1e-3)]).drives[0]).toMatchObject({ limited: true, volts: expect.closeTo(1, 10), amps: 1e-3 })
    expect(r.dc([amps(0, 1, -2e-3)]).drives[0]).toMatchObject({ limited: false, volts: expect.closeTo(-2, 10) })
    expect(r.dc([amps(0, 1, -2e-3, 0.5)]).drives[0]).toMatchObject({ limited: true, volts: -0.5 })
  })

  test('a resistor follows its temperature, its volts and its own warmth', () => {
    const r = part('resistor', { ohm: 1000, perK: 1e-3, perV: -1e-5, kelvinPerW: 0 })
    near(1e-6 / r.dc([volts(0, 1, 1e-6)], { celsius: 75 }).drives[0]!.amps, 1050, 1e-6)
    near(50 / r.dc([volts(0, 1, 50)]).drives[0]!.amps, 1000 * (1 - 5e-4), 1e-6)
    const warm = part('resistor', { ohm: 1000, perK: 1e-3, perV: 0, kelvinPerW: 200 })
    // R = R0·(1 + a·k·V²/R) by the quadratic formula
    const rise = 1e-3 * 200 * 10 ** 2
    near(10 / warm.dc([volts(0, 1, 10)]).drives[0]!.amps, (1000 + Math.sqrt(1e6 + 4 * 1000 * rise)) / 2, 1e-6)
  })

  test('a potentiometer is two resistors, and its wiper is never twice the same', () => {
    const pot = part('potentiometer', { ohm: 10e3, share: 0.3, endOhm: 5, perK: 0, perV: 0, kelvinPerW: 0, wiperOhm: 4, midShare: 0.5 })
    near(pot.dc([volts(0, 2, 1)]).drives[0]!.amps, 1 / 10_010, 1e-6)
    const seen = Array.from({ length: 20 }, () => { pot.move(); return 1e-3 / pot.dc([volts(0, 1, 1e-3)]).drives[0]!.amps })
    for (const ohm of seen) near(ohm, 3009, 0.002)
    expect(new Set(seen).size).toBeGreaterThan(15)
  })

  test('a capacitor has its reactance, loss, insulation and late charge', () => {
    const c = part('film-capacitor', {
      farad: 100e-9, loss: 0.002, insulationOhm: 1e10, seriesOhm: 0.05, seriesH: 0, absorption: 1e-3,
    })
    for (const hertz of [100, 1000, 10e3]) {
      const z = c.impedance(hertz)
      const x = 1 / (2 * Math.PI * hertz * 100e-9)
      near(-z.im, x, 1e-4)
      expect(Math.abs(z.re - (0.002 * x + 0.05))).toBeLessThan(0.01 * z.re)
    }
    const leakA = (afterS: number): number => c.dc([volts(0, 1, 50)], { afterS }).drives[0]!.amps
    near(leakA(1e9), 50 / 1e10, 0.001)
    near(leakA(10) - leakA(1e9), 100e-9 * 50 * 1e-3 / 10, 0.001)
  })

  test('an electrolytic the wrong way round conducts at 1 to 2 V', () => {
    const turned = makeComponent('electrolytic-capacitor', usualRatings['electrolytic-capacitor'], 3, { defect: 'reversed' })
    const v = turned.dc([amps(0, 1, 1e-3)]).drives[0]!.volts
    expect(v).toBeGreaterThan(1)
    expect(v).toBeLessThan(2)
    expect(makeComponent('electrolytic-capacitor', usualRatings['electrolytic-capacitor'], 3).dc([volts(0, 1, 2)]).drives[0]!.amps)
      .toBeLessThan(2e-6)
  })

  test('an inductor has its resistance at DC and resonates with its own capacitance', () => {
    const l = part('inductor', { henry: 1e-3, ohm: 2, farad: 100e-12, lossOhm: 1e5 })
    near(l.dc([amps(0, 1, 0.01)]).drives[0]!.volts, 0.02, 1e-6)
    near(l.impedance(1000).im, 2 * Math.PI, 0.001)
    const selfHz = 1 / (2 * Math.PI * Math.sqrt(1e-3 * 100e-12))
    near(l.impedance(selfHz).re, 1e5, 0.001)
    expect(l.impedance(selfHz / 2).im).toBeGreaterThan(0)
    expect(l.impedance(selfHz * 2).im).toBeLessThan(0)
  })

  test('a transformer has ratio, magnetising and leakage inductance, and a phase that can be turned', () => {
    const values = { henry: 1, ratio: 10, ohm: 40, secondOhm: 0.4, coupling: 0.995, lossOhm: 1e7 }
    const t = part('transformer', values)
    const w = 2 * Math.PI * 1000
    near(t.impedance(1000, [0, 1]).im, w, 0.001)
    near(t.impedance(1000, [0, 1], [[2, 3]]).im, w * (1 - 0.995 ** 2), 0.02)
    near(t.ratio(1000, [0, 1], [2, 3]).re, 0.0995, 0.001)
    near(t.dc([amps(2, 3, 0.01)]).drives[0]!.volts, 0.004, 1e-6)
    const turned = part('transformer', values, { pins: ['primary', 'primary end', 'secondary end', 'secondary'] })
    near(turned.ratio(1000, [0, 1], [2, 3]).re, -0.0995, 0.001)
  })
})

describe('junctions', () => {
  test('a diode obeys V = n·Vt·ln(I/Is + 1) + I·Rs over eight decades', () => {
    const d = part('diode', { saturationA: 2e-9, ideality: 1.8, seriesOhm: 0.7, leakA: 0 })
    for (let decade = -9; decade <= -1; decade++) {
      const i = 10 ** decade
      near(d.dc([amps(0, 1, i)]).drives[0]!.volts, 1.8 * vt * Math.log(i / 2e-9 + 1) + i * 0.7, 1e-5)
    }
  })

  test('a diode loses about 2 mV a kelvin, and its leakage doubles in 10 K', () => {
    const d = part('diode', { leakA: 10e-9, breakdownV: 100 })
    const v = (celsius: number): number => d.dc([amps(0, 1, 1e-3)], { celsius }).drives[0]!.volts
    expect((v(35) - v(25)) / 10).toBeGreaterThan(-2.5e-3)
    expect((v(35) - v(25)) / 10).toBeLessThan(-1.3e-3)
    const leakA = (celsius: number): number => -d.dc([volts(0, 1, -20)], { celsius }).drives[0]!.amps
    near(leakA(35) / leakA(25), 2, 0.15)
    expect(d.dc([volts(0, 1, -110, 0.01)]).drives[0]).toMatchObject({ limited: true })
  })

  test('a zener stands at its volts at 5 mA with the slope it was given, and an LED at its own at 20 mA', () => {
    const z = part('zener', { zenerV: 5.1, kneeA: 5e-3, kneeV: 0.05, seriesOhm: 1, leakA: 0, saturationA: 1e-14 })
    near(z.dc([amps(1, 0, 5e-3)]).drives[0]!.volts, 5.1, 1e-6)
    const v = (i: number): number => z.dc([amps(1, 0, i)]).drives[0]!.volts
    near((v(5.05e-3) - v(4.95e-3)) / 1e-4, 0.05 / 5e-3 + 1, 0.001)
    const led = makeComponent('led', { value: 1.9, tolerance: 0.1 }, 3)
    expect(Math.abs(led.dc([amps(0, 1, 20e-3)]).drives[0]!.volts - 1.9)).toBeLessThan(0.2)
  })

  test.each(['npn', 'pnp'] as const)('an %s has its gain, its Early volts, its emitter volts and saturates', kind => {
    const sign = kind === 'npn' ? 1 : -1
    const t = part(kind, {
      gain: 200, earlyV: 100, saturationA: 1e-14, ideality: 1, leakA: 0, baseOhm: 20, collectorOhm: 0.5,
    })
    const [e, b, c] = [0, 1, 2]
    const at = (vce: number, ib: number) => t.dc([volts(c, e, sign * vce), amps(b, e, sign * ib)]).drives
    for (const ib of [1e-7, 1e-6, 1e-5]) {
      const [collector, base] = at(5, ib)
      const vbe = Math.abs(base!.volts)
      near(Math.abs(collector!.amps), 200 * ib * (1 + (5 - vbe) / 100), 1e-4)
      near(vbe - 20 * ib, vt * Math.log(200 * ib / 1e-14), 1e-4)
    }
    const slope = (Math.abs(at(10, 1e-5)[0]!.amps) - Math.abs(at(5, 1e-5)[0]!.amps)) / 5
    near(slope, 200e-5 / 100, 0.001)
    const saturated = t.dc([amps(c, e, sign * 1e-3), amps(b, e, sign * 1e-4)]).drives[0]!
    expect(Math.abs(saturated.volts)).toBeLessThan(0.12)
  })

  test('leakage from collector to base comes out of an open base (1 + gain) times', () => {
    const t = part('npn', { gain: 100, earlyV: 1e9, leakA: 1e-6, saturationA: 1e-14 })
    const [e, b, c] = [0, 1, 2]
    const cbo = t.dc([volts(c, b, 5)]).drives[0]!.amps
    const ceo = t.dc([volts(c, e, 5)]).drives[0]!.amps
    near(ceo / cbo, 101, 0.02)
  })

  test('a germanium transistor leaks by nature, and twice as much in about 10 K', () => {
    for (let seed = 0; seed < 30; seed++) {
      const t = makeComponent('pnp-germanium', usualRatings['pnp-germanium'], seed)
      const ceoA = -t.dc([volts(2, 0, -6)]).drives[0]!.amps
      expect(ceoA).toBeGreaterThan(1e-5)
      expect(ceoA).toBeLessThan(5e-4)
      const cbo = (celsius: number): number => -t.dc([volts(2, 1, -6)], { celsius }).drives[0]!.amps
      expect(cbo(35) / cbo(25)).toBeGreaterThan(1.7)
      expect(cbo(35) / cbo(25)).toBeLessThan(3)
    }
  })

  test('the emitter junction breaks down where it is said to', () => {
    const t = part('npn', { emitterBreakdownV: 7 })
    near(t.dc([amps(0, 1, 1e-5)]).drives[0]!.volts, 7, 0.01)
  })
})

describe('field effect', () => {
  test.each(['n-jfet', 'p-jfet'] as const)('a %s follows the square law and stops at its pinch-off', kind => {
    const sign = kind === 'n-jfet' ? 1 : -1
    const t = part(kind, { saturatedA: 8e-3, pinchV: 2, perV: 0, leakA: 0 })
    const drainA = (vgs: number): number => sign * t.dc([volts(2, 0, sign * 10), volts(1, 0, sign * vgs)]).drives[0]!.amps
    for (const vgs of [0, -0.5, -1, -1.9]) near(drainA(vgs), 8e-3 * (1 + vgs / 2) ** 2, 1e-5)
    expect(drainA(-2.1)).toBeLessThan(1e-10)
    const ohm = 1e-3 / Math.abs(t.dc([volts(2, 0, sign * 1e-3), volts(1, 0, 0)]).drives[0]!.amps)
    near(ohm, 2 / (2 * 8e-3), 0.001)
  })

  test.each(['n-mosfet', 'p-mosfet'] as const)('a %s conducts above its threshold and has a body diode', kind => {
    const sign = kind === 'n-mosfet' ? 1 : -1
    const t = part(kind, { thresholdV: 2, ampsPerV2: 0.1, perV: 0, onOhm: 1e-3, leakA: 0 })
    // gate tied to drain: all current that is forced goes through the square law
    const tied = part(kind, { thresholdV: 2, ampsPerV2: 0.1, perV: 0, onOhm: 1e-3, leakA: 0 },
      { bridge: { pins: ['gate', 'drain'], ohm: 1 } })
    near(Math.abs(tied.dc([amps(2, 0, sign * 250e-6)]).drives[0]!.volts), 2 + Math.sqrt(250e-6 / 0.1), 1e-4)
    expect(Math.abs(t.dc([volts(2, 0, sign * 10), volts(1, 0, 0)]).drives[0]!.amps)).toBeLessThan(1e-9)
    const body = Math.abs(t.dc([amps(0, 2, sign * 1e-3), volts(1, 0, 0)]).drives[0]!.volts)
    expect(body).toBeGreaterThan(0.4)
    expect(body).toBeLessThan(0.8)
  })

  test('the square law has no jump and the slopes that it says', () => {
    fc.assert(fc.property(fc.double({ min: -5, max: 5, noNaN: true }), fc.double({ min: 0, max: 10, noNaN: true }), (gate, drain) => {
      const truth = { thresholdV: 1, ampsPerV2: 0.05, perV: 0.02 }
      const h = 1e-6
      const at = squareLaw(truth, gate, drain)
      const slope = (squareLaw(truth, gate + h, drain).amps - squareLaw(truth, gate - h, drain).amps) / (2 * h)
      expect(Math.abs(slope - at.byGate)).toBeLessThan(1e-4)
      const along = (squareLaw(truth, gate, drain + h).amps - at.amps) / h
      expect(Math.abs(along - at.byDrain)).toBeLessThan(1e-4)
    }))
  })
})

describe('any part with any sources on it', () => {
  const specimen = fc.record({
    kind: fc.constantFrom(...componentKinds), seed: fc.integer(), defectAt: fc.nat(12),
    celsius: fc.double({ min: 10, max: 40, noNaN: true }),
  }).map(({ kind, seed, defectAt, celsius }) => {
    const defect = defectsOf[kind][defectAt]
    return { celsius, component: makeComponent(kind, usualRatings[kind], seed, defect ? { defect } : {}) }
  })
  const decades = (least: number, most: number) => fc.tuple(fc.double({ min: least, max: most, noNaN: true }), fc.boolean())
    .map(([power, negative]) => (negative ? -1 : 1) * 10 ** power)
  const drive = fc.record({
    ends: fc.shuffledSubarray([0, 1, 2, 3], { minLength: 2, maxLength: 2 }), isVolts: fc.boolean(), none: fc.boolean(),
    volts: decades(-3, 1.6), amps: decades(-9, -1),
  })
  const drivesFor = (component: Component, wanted: readonly { ends: number[]; isVolts: boolean; volts: number; amps: number }[]): Drive[] => {
    const drives = wanted.map(({ ends, isVolts, volts: v, amps: a }) => {
      const n = component.terminals
      const high = ends[0]! % n
      const low = ends[1]! % n === high ? (high + 1) % n : ends[1]! % n
      return isVolts ? volts(high, low, v, Math.abs(a)) : amps(high, low, a, Math.abs(v))
    })
    // Two sources on the same two terminals fight each other; nobody wires that.
    const [one, two] = drives
    const isSame = two && new Set([one!.high, one!.low, two.high, two.low]).size === 2
    return isSame ? [one!] : drives
  }

  test('no current is lost, sources keep to their limits, and no part gives power', () => {
    fc.assert(fc.property(specimen, fc.array(drive, { minLength: 1, maxLength: 2 }), ({ component, celsius }, wanted) => {
      const drives = drivesFor(component, wanted)
      const result = component.dc(drives, { celsius })
      const most = Math.max(...result.amps.map(Math.abs), 1e-12)
      expect(result.leftA).toBeLessThan(1e-6 * most + 1e-12)
      expect(Math.abs(result.amps.reduce((sum, a) => sum + a, 0))).toBeLessThan(1e-12 * most + 1e-20)
      let watts = 0
      result.drives.forEach(({ volts: v, amps: a, limited }, i) => {
        const { mode, value, limit } = drives[i]!
        const [forced, other] = mode === 'voltage' ? [v, a] : [a, v]
        expect(Math.abs(other)).toBeLessThanOrEqual(limit * (1 + 1e-6))
        if (!limited) expect(Math.abs(forced - value)).toBeLessThanOrEqual(1e-9 * Math.abs(value) + 1e-15)
        else expect(Math.abs(Math.abs(other) - limit)).toBeLessThanOrEqual(1e-9 * limit + 1e-15)
        watts += v * a
      })
      expect(watts).toBeGreaterThan(-1e-7 * most * 60 - 1e-18)
    }), { numRuns: 1500 })
  })

  test('more volts never mean less current between two terminals of a part of two', () => {
    const two = specimen.filter(({ component }) => component.terminals === 2)
    const range = fc.tuple(fc.double({ min: -40, max: 40, noNaN: true }), fc.double({ min: 1e-3, max: 5, noNaN: true }))
    fc.assert(fc.property(two, range, ({ component, celsius }, [from, more]) => {
      const at = (v: number): number => component.dc([volts(0, 1, v, 10)], { celsius }).drives[0]!.amps
      const [low, high] = [at(from), at(from + more)]
      // Sums of tens of volts beside teraohms are rounded at some 1e-15 A.
      expect(high - low).toBeGreaterThanOrEqual(-1e-9 * Math.abs(low) - 1e-14)
    }), { numRuns: 400 })
  })

  test('an impedance never gives power at any frequency', () => {
    fc.assert(fc.property(specimen, fc.double({ min: 1, max: 6, noNaN: true }), ({ component }, decade) => {
      expect(component.impedance(10 ** decade, [0, 1]).re).toBeGreaterThan(-1e-9)
    }), { numRuns: 400 })
  })
})
