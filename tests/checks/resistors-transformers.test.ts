/** Values computed independently from textbook formulas unless a source is named. */
import { describe, expect, test } from 'vitest'
import { bridgeErrorAtMost, deratedPowerW, temperatureCoefficientPpmPerK } from '../../src/analysis/devices/resistor.ts'
import {
  absorptionRatio, coupling, openCircuitTest, polarizationIndex, regulation, shortCircuitTest,
} from '../../src/analysis/devices/transformer.ts'

describe('transformers', () => {
  test('open: 230 V, 0.150 A, 8.0 W, 50 Hz gives 6612.5 ohm, 0.145912 A, 1576.298 ohm, 5.01751 H', () => {
    const got = openCircuitTest(230, 0.15, 8, 50)
    expect(got.coreOhm).toBeCloseTo(6612.5, 6)
    expect(got.magnetisingA).toBeCloseTo(0.145912, 6)
    expect(got.magnetisingOhm / 1576.298).toBeCloseTo(1, 5)
    expect(got.magnetisingH).toBeCloseTo(5.01751, 4)
  })

  test('shorted: 15.0 V, 0.80 A, 9.6 W gives 15.0 and 11.25 ohm, 35.810 mH', () => {
    const got = shortCircuitTest(15, 0.8, 9.6, 50)
    expect(got.seriesOhm).toBeCloseTo(15, 9)
    expect(got.leakageOhm).toBeCloseTo(11.25, 9)
    expect(1000 * got.leakageH).toBeCloseTo(35.81, 3)
    expect(() => shortCircuitTest(15, 0.8, 13, 50)).toThrow(/more than/)
  })

  test('26.4 V open and 24.0 V loaded is 10 % of regulation', () => {
    expect(regulation(26.4, 24)).toBeCloseTo(0.1, 12)
  })

  test('coupling: 1 H and 4 H with factor 0.5 are 7 H aiding and 3 H opposing', () => {
    const got = coupling(1, 4, 7, 3)
    expect(got.mutualH).toBeCloseTo(1, 12)
    expect(got.factor).toBeCloseTo(0.5, 12)
    expect(() => coupling(1, 4, 3, 7)).toThrow(/aiding/)
  })

  test('insulation: 2500 over 1000 Mohm is an index of 2.5, 1000 over 700 a ratio of 1.4286', () => {
    expect(polarizationIndex(2500e6, 1000e6)).toBeCloseTo(2.5, 12)
    expect(absorptionRatio(1000e6, 700e6)).toBeCloseTo(1.4286, 4)
  })
})

describe('resistors', () => {
  test('1000.0 ohm at 25 °C and 1002.4 ohm at 125 °C is +24 ppm/K (definition of method 304, read)', () => {
    expect(temperatureCoefficientPpmPerK(1000, 25, 1002.4, 125)).toBeCloseTo(24, 6)
  })

  test('0.25 W at 70 °C and none at 155 °C leaves 0.161765 W at 100 °C, all below, none above', () => {
    expect(deratedPowerW(0.25, 70, 155, 100)).toBeCloseTo(0.161765, 6)
    expect(deratedPowerW(0.25, 70, 155, 20)).toBe(0.25)
    expect(deratedPowerW(0.25, 70, 155, 160)).toBe(0)
  })

  test('a 5 % part needs a bridge within 0.5 %, one without tolerance 2 % (method 303, read)', () => {
    expect(bridgeErrorAtMost(0.05)).toBeCloseTo(0.005, 12)
    expect(bridgeErrorAtMost(undefined)).toBe(0.02)
  })
})
