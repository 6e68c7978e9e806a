/** What would be done to a parts list: every part once, in few set-ups, never above touch-safe. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { JigReach } from '../../src/schema/jig.ts'
import type { Item } from '../../src/screening/grade.ts'
import { planScreening, usualBounds } from '../../src/screening/plan.ts'
import type { ToProve, Value } from '../../src/screening/to-prove.ts'

const bounds = { ...usualBounds, touchSafeV: 60 }
const value = (nominal: number): Value => ({ nominal, minus: 0.05, plus: 0.05, source: 'marked' })
const whole: JigReach = {
  terminals: 3, bridge: { frequenciesHz: { minHz: 20, maxHz: 1e5 } }, ohms: { wires: [2, 4] },
  source: { voltageMaxV: 200, currentMaxA: 0.1 }, secondSource: { voltageMaxV: 20, currentMaxA: 0.1 },
}

const part: fc.Arbitrary<ToProve> = fc.oneof(
  fc.record({ kind: fc.constant('resistor' as const), ohm: fc.double({ min: 0.1, max: 1e7, noNaN: true }).map(value), ratedW: fc.constant(0.25) }),
  fc.record({
    kind: fc.constant('capacitor' as const), farad: fc.double({ min: 1e-12, max: 1e-2, noNaN: true }).map(value), dissipation: fc.constant(null),
    dielectric: fc.constantFrom('film' as const, 'ceramic-1' as const, 'ceramic-2' as const, 'electrolytic' as const),
    leakage: fc.option(fc.record({
      ratedV: fc.double({ min: 1, max: 400, noNaN: true }), afterS: fc.constant(60), ampere: fc.constant({ high: 1e-6, source: 'list' }),
    }), { nil: null }),
  }),
  fc.record({
    kind: fc.constant('diode' as const), zener: fc.constant(null),
    forward: fc.array(fc.record({ currentA: fc.double({ min: 1e-5, max: 1, noNaN: true }), volt: fc.constant({ high: 1, source: 'list' }) }), { minLength: 1, maxLength: 3 }),
    reverse: fc.option(fc.record({ voltageV: fc.double({ min: 1, max: 100, noNaN: true }), ampere: fc.constant({ high: 1e-7, source: 'list' }) }), { nil: null }),
  }),
)
const limit = { high: 1, source: 'list' }
const gated: fc.Arbitrary<ToProve> = fc.oneof(
  fc.record({
    kind: fc.constant('jfet' as const), channel: fc.constantFrom(null, 'n' as const, 'p' as const), drainV: fc.double({ min: 1, max: 100, noNaN: true }),
    idssA: fc.double({ min: 1e-4, max: 0.2, noNaN: true }).map(high => ({ high, source: 'list' })), cutoffV: fc.constant(limit),
    gateLeak: fc.record({ atV: fc.double({ min: 1, max: 100, noNaN: true }), ampere: fc.constant(limit) }),
  }),
  fc.record({
    kind: fc.constant('mosfet' as const), channel: fc.constantFrom(null, 'n' as const, 'p' as const),
    threshold: fc.constant({ currentA: 250e-6, volt: limit }), slope: fc.constantFrom(null, { currentA: 0.01, siemens: limit }),
    on: fc.record({ gateV: fc.double({ min: 1, max: 30, noNaN: true }), currentA: fc.double({ min: 1e-3, max: 0.2, noNaN: true }), ohm: fc.constant(limit) }),
    drainLeak: fc.constant({ atV: 20, ampere: limit }), gateLeak: fc.record({ atV: fc.double({ min: 1, max: 30, noNaN: true }), ampere: fc.constant(limit) }),
  }),
)
const reach = fc.record({
  terminals: fc.constantFrom(2 as const, 3 as const), bridge: fc.constantFrom(null, whole.bridge), ohms: fc.constantFrom(null, whole.ohms),
  source: fc.constantFrom(null, whole.source), secondSource: fc.constantFrom(null, whole.secondSource),
})

describe('a screening plan', () => {
  it('holds every part once, in a group or with the reason why not, and stays below touch-safe', () => {
    fc.assert(fc.property(fc.array(fc.oneof(part, gated), { maxLength: 40 }), reach, (parts, jig) => {
      const items: Item[] = parts.map((one, i) => ({ id: `X${i}`, part: one }))
      const plan = planScreening(items, jig, bounds)
      const placed = [...plan.groups.flatMap(group => group.items.map(({ id }) => id)), ...plan.cannot.map(({ id }) => id)]
      expect(placed.sort()).toEqual(items.map(({ id }) => id).sort())
      expect(plan.mostV).toBeLessThanOrEqual(60)
      const setUps = plan.groups.map(({ setUp }) => `${setUp.leads} ${setUp.measures}`)
      expect(new Set(setUps).size).toBe(setUps.length)
      for (const { why, wayOut } of plan.cannot) expect([why, wayOut].every(text => text.length > 10)).toBe(true)
      for (const { expectedS, items: inGroup } of plan.groups) expect(expectedS).toBeGreaterThan(4 * inGroup.length)
      if (!jig.source) expect(plan.mostA).toBeLessThanOrEqual(0.05)
    }))
  })

  it('changes leads once for each set-up, not for each part', () => {
    const mixed: Item[] = [100, 1e5, 220, 2e5].map((ohm, i) => ({ id: `R${i}`, part: { kind: 'resistor', ohm: value(ohm), ratedW: 0.25 } }))
    expect(planScreening(mixed, whole, bounds).groups.map(({ items }) => items.map(({ id }) => id))).toEqual([['R1', 'R3'], ['R0', 'R2']])
  })

  it('says of a group the most that any of its parts gets, whichever comes first', () => {
    const diode = (id: string, voltageV: number, currentA: number): Item => ({ id, part: {
      kind: 'diode', zener: null, forward: [{ currentA, volt: { high: 1, source: 'list' } }], reverse: { voltageV, ampere: { high: 1e-6, source: 'list' } },
    } })
    const plan = planScreening([diode('D1', 5, 0.05), diode('D2', 20, 0.01)], whole, bounds)
    expect(plan).toMatchObject({ mostV: 20, mostA: 0.05, groups: [{ setUp: { mostV: 20, mostA: 0.05 } }] })
  })

  it('says which two numbers clash where the source does not reach, and sends high volts to the rack', () => {
    const led = (currentA: number): Item => ({ id: 'D1', part: { kind: 'diode', zener: null, reverse: null, forward: [{ currentA, volt: { high: 2, source: 'list' } }] } })
    expect(planScreening([led(0.5)], whole, bounds).cannot[0]).toMatchObject({ why: expect.stringMatching(/500 mA.*100 mA/) })
    const zener: Item = { id: 'D2', part: { kind: 'diode', forward: [], reverse: null,
      zener: { currentA: 1e-3, slopeOhm: null, volt: { low: 95, high: 105, source: 'list' } } } }
    expect(planScreening([zener], whole, bounds).cannot[0]).toMatchObject({ why: expect.stringMatching(/116 V.*60/), wayOut: expect.stringMatching(/rack/) })
  })
})
