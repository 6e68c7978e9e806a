import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { riseMachine } from '../../src/safety/rise.ts'
import type { RiseInput } from '../../src/safety/rise.ts'

const rules = { windowMs: 10_000, margin: 5, samples: 2, unit: 'V' }

function told(inputs: readonly RiseInput[]): string | null {
  const machine = riseMachine(rules)
  let state = machine.fresh
  for (const input of inputs) {
    state = machine.step(state, input)
    const says = machine.says(state)
    if (says !== null) return says
  }
  return null
}

/** A bus that does as it is told, in steps of one second, with noise within half of `spread`, read every 100 ms. */
function obedient(slew: number, noise: readonly number[], spread: number): RiseInput[] {
  return noise.map((x, i) => {
    const asked = 5 + slew * Math.floor(i / 10)
    return { atMs: 100 * i, value: asked + spread * x, asked }
  })
}
const noise = fc.array(fc.double({ min: -0.5, max: 0.5, noNaN: true }), { minLength: 30, maxLength: 300 })

describe('rate of rise', () => {
  it('lets any commanded rise pass, up or down, with noise inside the margin', () => {
    fc.assert(fc.property(fc.double({ min: -20, max: 20, noNaN: true }), noise, (slew, list) => {
      expect(told(obedient(slew, list, 4.9))).toBeNull()
    }))
  })
  it('trips at the second reading that is the margin itself above what was asked for', () => {
    fc.assert(fc.property(fc.double({ min: 5, max: 500, noNaN: true }), fc.double({ min: 5, max: 300, noNaN: true }), (stands, jump) => {
      const at = (atMs: number, value: number): RiseInput => ({ atMs, value, asked: stands })
      const before = [0, 1000, 2000].map(atMs => at(atMs, stands))
      const up = stands + jump
      fc.pre(up - stands >= 5)
      expect(told([...before, at(3000, up)])).toBeNull()
      expect(told([...before, at(3000, up), at(3100, up)])).toContain('more than was asked for')
    }))
  })
  it('finds a creep that no single reading shows, at half a volt a second but not at a tenth', () => {
    const creep = (slope: number): RiseInput[] =>
      Array.from({ length: 600 }, (_, i) => ({ atMs: 100 * i, value: 200 + slope * i / 10, asked: 200 }))
    expect(told(creep(0.6))).not.toBeNull()
    expect(told(creep(0.1))).toBeNull()
  })
  it('lets a bus that sagged come back at any rate', () => {
    fc.assert(fc.property(fc.double({ min: 1, max: 200, noNaN: true }), fc.integer({ min: 1, max: 100 }), (sagV, forReadings) => {
      const sag = Array.from({ length: forReadings }, (_, i) => ({ atMs: 1000 + 100 * i, value: 300 - sagV, asked: 300 }))
      const after = Array.from({ length: 20 }, (_, i) => ({ atMs: 1000 + 100 * (forReadings + i), value: 300, asked: 300 }))
      expect(told([{ atMs: 0, value: 300, asked: 300 }, ...sag, ...after])).toBeNull()
    }))
  })
  it('does not count one wild reading', () => {
    expect(told([0, 1, 2].map(i => ({ atMs: 100 * i, value: i === 1 ? 900 : 100, asked: 100 })))).toBeNull()
  })
  it('compares with nothing older than its window', () => {
    expect(told([{ atMs: 0, value: 20, asked: -300 }, { atMs: 10_001, value: 90, asked: -300 }, { atMs: 10_101, value: 90, asked: -300 }])).toBeNull()
  })
})
