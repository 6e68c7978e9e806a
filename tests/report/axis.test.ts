import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { linearAxis, logAxis, logTimeAxis, timeAxis, type Axis } from '../../src/report/axis.ts'

const labels = (axis: Axis): string[] => axis.ticks.map(tick => tick.label)
const amount = fc.double({ min: 1e-9, max: 1e6, noNaN: true })

describe('axes', () => {
  it('tick where a person would', () => {
    expect(labels(linearAxis(0, 450, 0, 1, 'V'))).toEqual([
      '0 V', '100 V', '200 V', '300 V', '400 V', '500 V'
    ])
    expect(labels(linearAxis(21.2, 23.9, 0, 1, '°C'))).toEqual(['21 °C', '22 °C', '23 °C', '24 °C'])
    expect(labels(timeAxis(3600 * 8, 0, 1))).toEqual([
      '0', '1 h', '2 h', '3 h', '4 h', '5 h', '6 h', '7 h', '8 h'
    ])
    expect(labels(logAxis(2e-5, 3e-3, 0, 1, String))).toEqual(['0.00001', '0.0001', '0.001', '0.01'])
    expect(labels(logTimeAxis(1, 20_000, 0, 1))).toEqual(['1 s', '10 s', '1 min', '10 min', '1 h'])
  })

  it('have few ticks and real positions for numbers near the end of what there is', () => {
    const most = Number.MAX_VALUE
    for (const [low, high] of [[0, most], [-most, most], [-most, 0], [most, most], [0, Infinity]] as const) {
      const axis = linearAxis(low, high, 0, 100, 'V')
      expect(axis.ticks.length).toBeLessThan(12)
      expect(axis.at(0)).not.toBeNaN()
    }
    for (const end of [most, Infinity]) expect(timeAxis(end, 0, 100).ticks.length).toBeLessThan(12)
  })

  it('have real positions for numbers too near 0, or to one another, for a step between them', () => {
    for (const [low, high] of [[0, 5e-324], [-5e-324, 0], [1, 1 + Number.EPSILON], [-1 - Number.EPSILON, -1]] as const) {
      const axis = linearAxis(low, high, 0, 100, 'V')
      expect(axis.ticks.length).toBeLessThan(12)
      for (const value of [low, high]) expect(Math.abs(axis.at(value) - 50)).toBeLessThanOrEqual(50 + 1e-9)
    }
  })

  it('hold every value between their ends, in order, with different labels', () => {
    fc.assert(fc.property(amount, amount, amount, (a, b, c) => {
      const [low, middle, high] = [a, b, c].sort((x, y) => x - y) as [number, number, number]
      if (high < low * 1.001) return
      for (const axis of [
        linearAxis(low, high, 0, 100, 'V'), logAxis(
          low, high, 0, 100, String
        ), logTimeAxis(low, high, 0, 100),
      ]) {
        const at = [low, middle, high].map(value => axis.at(value))
        expect(at[0]!).toBeGreaterThanOrEqual(-1e-6)
        expect(at[2]!).toBeLessThanOrEqual(100 + 1e-6)
        expect(at[0]! <= at[1]! && at[1]! <= at[2]!).toBe(true)
        expect(axis.ticks.length).toBeLessThanOrEqual(17)
        expect(axis.ticks.every(tick => axis.at(tick.value) >= -1 && axis.at(tick.value) <= 101)).toBe(true)
      }
      const shown = labels(linearAxis(low, high, 0, 100, 'V'))
      if (high - low > high * 1e-4) expect(new Set(shown).size).toBe(shown.length)
    }))
  })

  it('have an extent even where all values are the same', () => {
    for (const value of [0, 5, -3]) {
      const axis = linearAxis(value, value, 0, 100, 'V')
      expect(Number.isFinite(axis.at(value))).toBe(true)
      expect(axis.ticks.length).toBeGreaterThan(1)
    }
  })
})
