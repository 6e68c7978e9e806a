/** Bridge rectifiers: legs found in every order, and what is wrong is told of the junction that has it. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { Component, type ComponentTruth } from '../../mocks/components/component.ts'
import { usualRatings, type ComponentKind } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { prove } from '../../src/screening/at-jig.ts'
import { judge } from '../../src/screening/grade.ts'
import { fourLegs, judgeBridge, lookAround } from '../../src/screening/methods/bridge-rectifier.ts'
import { asked } from './asked.ts'
import { PhysicsJig } from './physics-jig.ts'

const names = ['plus', 'ac', 'other ac', 'minus'] as const
const orders: string[][] = names.flatMap(a => names.filter(b => b !== a).flatMap(b =>
  names.filter(c => c !== a && c !== b).map(c => [a, b, c, names.find(d => ![a, b, c].includes(d))!])))
const bridge = (over: Partial<ComponentTruth> = {}, values: Record<string, number> = {}): Component => {
  const { truth } = makeComponent('bridge-rectifier', usualRatings['bridge-rectifier'], 7)
  return new Component({ ...truth, ...over, values: { ...truth.values, ...values } }, 7)
}
const item = { id: 'BR1', part: asked['bridge-rectifier']! }
const leg = (pins: readonly string[], name: string): number => pins.indexOf(name) + 1

describe('the legs of a bridge', () => {
  it('are found in all twenty-four orders, under 4 V and 1 mA', async () => {
    expect(orders).toHaveLength(24)
    for (const pins of orders) {
      const jig = new PhysicsJig(bridge({ pins }), 3)
      expect(judgeBridge(await lookAround(jig, fourLegs))).toEqual({
        plus: leg(pins, 'plus'), minus: leg(pins, 'minus'), ac: [leg(pins, 'ac'), leg(pins, 'other ac')].sort(),
      })
      expect([jig.mostV, jig.mostA]).toEqual([4, 1e-3])
    }
  })

  it.each([[1, 'ac', 'plus'], [2, 'other ac', 'plus'], [3, 'minus', 'ac'], [4, 'minus', 'other ac']])(
    'with junction %i gone are told by the junction from %s to %s, in all orders', async (broken, from, to) => {
      for (const pins of orders) {
        const { fault } = await prove(new PhysicsJig(bridge({ pins }, { broken }), 3), item)
        expect(fault).toEqual({ is: 'open', says: `the junction from leg ${leg(pins, from)} to leg ${leg(pins, to)} is open` })
      }
    })

  it('are one thing or a fault with a sentence, whatever twelve looks say', () => {
    const look = fc.record({ conducts: fc.boolean(), volts: fc.constantFrom(0.001, 0.6, 1.2) })
    fc.assert(fc.property(fc.array(look, { minLength: 12, maxLength: 12 }), twelve => {
      const pairs = fourLegs.flatMap(high => fourLegs.filter(low => low !== high).map(low => ({ high, low })))
      const found = judgeBridge(twelve.map((one, i) => ({ ...one, pair: pairs[i]! })))
      if ('fault' in found) expect(found.says.length).toBeGreaterThan(15)
      else expect([found.plus, found.minus, ...found.ac].sort()).toEqual([1, 2, 3, 4])
    }))
  })
})

describe('a junction', () => {
  it('that leaks is not hidden behind a sound one in line, and shorts name their legs', async () => {
    for (const n of [1, 2, 3, 4]) {
      const { grade, reason } = judge(item, await prove(new PhysicsJig(bridge({}, { [`leakA${n}`]: 3e-6 }), 3), item), [])
      expect([grade, reason.slice(0, 15)]).toEqual(['reject', 'reverse current'])
    }
    const shorted = bridge({ bridge: { pins: ['minus', 'other ac'], ohm: 0.3 } })
    expect((await prove(new PhysicsJig(shorted, 3), item)).fault).toEqual({ is: 'short', says: 'legs 3 and 4 are shorted' })
  })

  it.each(['npn', 'n-mosfet', 'diode', 'resistor', 'transformer'] satisfies ComponentKind[])('is not found in a %s', async kind => {
    const { fault } = await prove(new PhysicsJig(makeComponent(kind, usualRatings[kind], 3), 3), item)
    expect(fault?.is).toMatch(/open|short|other kind/)
  })
})
