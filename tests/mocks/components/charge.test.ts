/** Capacitors through time: held against closed forms, and what they keep against what went in. */
import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { ComponentFixture } from '../../../mocks/components/fixture.ts'
import { usualRatings, type ComponentKind } from '../../../mocks/components/kinds.ts'
import { makeComponent } from '../../../mocks/components/make-component.ts'
import { Component } from '../../../mocks/components/component.ts'
import type { Drive } from '../../../mocks/components/solve-dc.ts'
import { VirtualClock } from '../../../src/base/clock.ts'

const volts = (value: number, limit = 0.01): Drive => ({ high: 0, low: 1, mode: 'voltage', value, limit })
const plain = (values: Record<string, number>, kind: ComponentKind = 'film-capacitor'): Component => new Component({
  marked: kind, rating: usualRatings[kind], kind, defect: null, pins: ['end', 'other end'],
  values: { farad: 1e-6, loss: 0, insulationOhm: 1e14, seriesOhm: 0, seriesH: 0, absorption: 0, ...values },
}, 1)
const near = (got: number, wanted: number, share: number): void => expect(Math.abs(got / wanted - 1)).toBeLessThan(share)

describe('a capacitor through time', () => {
  test('charges along a line at the limit: V = I·t/C, and then draws nothing', () => {
    const c = plain({})
    near(c.pass([volts(20, 1e-5)], 1).drives[0]!.volts, 10, 1e-3)
    expect(c.pass([volts(20, 1e-5)], 0).drives[0]!.limited).toBe(true)
    const { volts: full, amps, limited } = c.pass([volts(20, 1e-5)], 5).drives[0]!
    near(full, 20, 1e-9)
    expect(Math.abs(amps)).toBeLessThan(1e-11)
    expect(limited).toBe(false)
  })
  test('keeps it when the source lets go, and loses it by its insulation: V0·exp(−t/RC)', () => {
    const c = plain({ insulationOhm: 1e8 })
    c.pass([volts(10)], 1)
    const { volts: [one, other] } = c.pass([], 50)
    near(one! - other!, 10 * Math.exp(-0.5), 0.02)
    near(c.heldV, 10 * Math.exp(-0.5), 0.02)
  })
  test('is emptied by a bleeder: 220 nF and 1 MΩ fall to a third in 0.242 s (V0·exp(−t/RC), closed form)', () => {
    const c = plain({ farad: 220e-9, bleederOhm: 1e6 }, 'mains-capacitor')
    near(c.pass([volts(30)], 1).drives[0]!.amps, 30e-6, 1e-3)
    c.pass([], 0.22 * Math.log(3))
    near(c.heldV, 10, 0.03)
  })
  test('draws late charge as C·V·share/t, from a tenth of a second to a quarter of an hour', () => {
    const c = plain({ absorption: 1e-3 })
    c.pass([volts(20)], 0.1)
    let atS = 0.1
    for (const untilS of [0.3, 1, 10, 60, 300, 900]) {
      near(c.pass([volts(20)], untilS - atS).drives[0]!.amps, 1e-6 * 20 * 1e-3 / untilS, 0.25)
      atS = untilS
    }
  })
  test('gives late charge back after a short: a few times the share, less after a longer short', () => {
    const recovered = (shortS: number): number => {
      const c = plain({ absorption: 0.02 })
      c.pass([volts(20)], 900)
      c.pass([volts(0)], shortS)
      expect(c.heldV).toBeLessThan(1e-3)
      c.pass([], 900)
      return c.heldV / 20
    }
    // Charged for t1, shorted for t2, open for t3: share·ln(…) of the branches between t2 and t1 or t3.
    expect(recovered(10)).toBeGreaterThan(0.03)
    expect(recovered(10)).toBeLessThan(0.1)
    expect(recovered(100)).toBeLessThan(recovered(10))
  })
  test('never gives back more than went in, whatever is done to it', () => {
    const act = fc.record({ v: fc.double({ min: -30, max: 30, noNaN: true }), s: fc.double({ min: 0.01, max: 100, noNaN: true }), open: fc.boolean() })
    const kinds = fc.constantFrom<ComponentKind>('film-capacitor', 'ceramic-capacitor', 'class-1-capacitor', 'electrolytic-capacitor', 'mains-capacitor')
    fc.assert(fc.property(kinds, fc.nat(1000), fc.array(act, { maxLength: 8 }), (kind, seed, acts) => {
      const c = makeComponent(kind, usualRatings[kind], seed)
      let mostV = 0
      for (const { v, s, open } of acts) {
        if (!open) mostV = Math.max(mostV, Math.abs(v))
        c.pass(open ? [] : [volts(v)], s)
        expect(c.heldV).toBeLessThanOrEqual(mostV * (1 + 1e-6) + 1e-9)
      }
    }), { numRuns: 40 })
  })
  test('is still charged in a fixture whose source let go, and is no more after it was shorted', async () => {
    const clock = new VirtualClock()
    const fixture = new ComponentFixture(clock)
    fixture.hold(makeComponent('film-capacitor', usualRatings['film-capacitor'], 2))
    fixture.sources[0].operate({ mode: 'voltage', value: 20, limit: 0.01, on: true })
    await clock.advance(1000)
    expect(fixture.heldV).toBeCloseTo(20, 6)
    fixture.sources[0].operate({ mode: 'voltage', value: 20, limit: 0.01, on: false })
    await clock.advance(1000)
    expect(fixture.heldV).toBeGreaterThan(19.9)
    fixture.sources[0].operate({ mode: 'voltage', value: 0, limit: 0.01, on: true })
    await clock.advance(1000)
    expect(fixture.heldV).toBeLessThan(1e-3)
  })
})
