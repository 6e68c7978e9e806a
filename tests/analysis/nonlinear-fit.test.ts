import { describe, expect, test } from 'vitest'
import { fitNonlinear } from '../../src/analysis/nonlinear-fit.ts'
import type { Model } from '../../src/analysis/nonlinear-fit.ts'
import { SeededRandom } from '../../src/base/random.ts'

const decay: Model = b => x => b[0]! * Math.exp(-b[1]! * x)
const x = Array.from({ length: 20 }, (_, i) => i)

describe('nonlinear fit', () => {
  test('with stated uncertainties, 95 % intervals hold the truth about 95 % of the time', () => {
    const random = new SeededRandom('coverage')
    const inside = [0, 0]
    for (let run = 0; run < 400; run++) {
      const u = x.map(v => 0.02 + 0.01 * Math.exp(-v))
      const y = x.map((v, i) => decay([3, 0.2])(v) + u[i]! * random.normal())
      const fit = fitNonlinear({ model: decay, x, y, u, start: [1, 0.1] })
      if (!fit.ok) throw new Error(fit.reason)
      ;[3, 0.2].forEach((truth, j) => {
        if (Math.abs(fit.parameters[j]! - truth) <= 1.96 * fit.standardErrors[j]!) inside[j]!++
      })
    }
    for (const count of inside) {
      expect(count / 400).toBeGreaterThan(0.92)
      expect(count / 400).toBeLessThan(0.98)
    }
  })

  test('a near start gives the answer that the search gives, and a far one still searches', () => {
    const random = new SeededRandom('near')
    const y = x.map(v => decay([3, 0.2])(v) + 0.01 * random.normal())
    for (const start of [[3, 0.2], [1000, 3]]) {
      const [near, wide] = [true, false]
        .map(startIsNear => fitNonlinear({ model: decay, x, y, start, startIsNear }))
      if (!near!.ok || !wide!.ok) throw new Error('no fit')
      expect(near!.parameters[1]).toBeCloseTo(wide!.parameters[1]!, 6)
    }
  })

  test('a bound holds, and is said', () => {
    const y = x.map(decay([3, 0.2]))
    const fit = fitNonlinear({ model: decay, x, y, start: [3, 0.1], lower: [0, 0], upper: [10, 0.15] })
    if (!fit.ok) throw new Error(fit.reason)
    expect(fit.parameters[1]).toBe(0.15)
    expect(fit.atBound).toBe(true)
    const free = fitNonlinear({ model: decay, x, y, start: [3, 0.1], lower: [0, 0], upper: [10, 1] })
    if (!free.ok) throw new Error(free.reason)
    expect(free.parameters[1]).toBeCloseTo(0.2, 8)
    expect(free.atBound).toBe(false)
  })

  test('two parameters that do the same thing are reported, not given uncertainties', () => {
    const y = x.map(v => 2 * v + Math.sin(v))
    const fit = fitNonlinear({ model: b => v => (b[0]! + b[1]!) * v, x, y, start: [1, 2] })
    expect(fit).toEqual({ ok: false, reason: 'parameters depend' })
  })

  test('a start where the model is not a number, and too few points, come back as reasons', () => {
    const model: Model = b => v => Math.log(b[0]! + v)
    expect(fitNonlinear({ model, x: [0, 1, 2], y: [0, 1, 2], start: [-1] }))
      .toEqual({ ok: false, reason: 'start outside model' })
    expect(fitNonlinear({ model: decay, x: [0, 1], y: [2, 1], start: [1, 1] }))
      .toEqual({ ok: false, reason: 'too few points' })
  })

  test('NaN, unequal lengths and an uncertainty of zero are refused', () => {
    expect(() => fitNonlinear({ model: decay, x: [0, NaN, 1], y: [1, 2, 3], start: [1, 1] }))
      .toThrow(/finite/)
    expect(() => fitNonlinear({ model: decay, x: [0, 1], y: [1, 2, 3], start: [1, 1] })).toThrow(/length/)
    expect(() => fitNonlinear({ model: decay, x: [0, 1, 2], y: [1, 2, 3], u: [1, 0, 1], start: [1, 1] }))
      .toThrow(/above 0/)
  })
})
