import { describe, expect, test } from 'vitest'
import { correlation, mean, uOfMean } from '../../src/analysis/statistics.ts'
import {
  combineUncertainty, expandUncertainty, propagateCovariance, uOfAccuracy,
} from '../../src/analysis/uncertainty.ts'

const volts = [5.007, 4.994, 5.005, 4.990, 4.999]
const amps = [19.663, 19.639, 19.640, 19.685, 19.678].map(mA => mA / 1000)
const phase = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
const sets = [volts, amps, phase]

function budget(correlations: (a: number, b: number) => number): ReturnType<typeof propagateCovariance> {
  const u = sets.map(uOfMean)
  const covariance = sets.map((_, a) => sets.map((_, b) =>
    (a === b ? 1 : correlations(a, b)) * u[a]! * u[b]!))
  const resistance = ([v, i, p]: number[]): number => v! * Math.cos(p!) / i!
  const reactance = ([v, i, p]: number[]): number => v! * Math.sin(p!) / i!
  const modulus = ([v, i]: number[]): number => v! / i!
  return propagateCovariance([resistance, reactance, modulus], sets.map(mean), covariance)
}

const r = (result: ReturnType<typeof propagateCovariance>, a: number, b: number): number =>
  result.covariance[a]![b]! / (result.u[a]! * result.u[b]!)

describe('GUM example H.2, R and X from V, I and phase (data and results read second-hand)', () => {
  test('means, uncertainties of the means and correlations have the printed digits', () => {
    expect(sets.map(mean)[0]).toBeCloseTo(4.9990, 5)
    expect(mean(amps) * 1000).toBeCloseTo(19.6610, 5)
    expect(mean(phase)).toBeCloseTo(1.04446, 6)
    expect(uOfMean(volts)).toBeCloseTo(0.0032, 4)
    expect(uOfMean(amps) * 1000).toBeCloseTo(0.0095, 4)
    expect(uOfMean(phase)).toBeCloseTo(0.00075, 5)
    expect(correlation(volts, amps)).toBeCloseTo(-0.3553, 4)
    expect(correlation(volts, phase)).toBeCloseTo(0.8576, 4)
    expect(correlation(amps, phase)).toBeCloseTo(-0.6451, 4)
  })

  test('R, X, Z with u: 127.732(71), 219.847(295), 254.260(236) ohm; r -0.588, -0.485, 0.993', () => {
    const result = budget((a, b) => correlation(sets[a]!, sets[b]!))
    const wantedValues = [127.7322, 219.8465, 254.2597]
    const wantedU = [0.07107, 0.29558, 0.23634]
    result.values.forEach((value, i) => expect(Math.abs(value - wantedValues[i]!)).toBeLessThan(1e-4))
    result.u.forEach((u, i) => expect(Math.abs(u - wantedU[i]!)).toBeLessThan(1e-4))
    expect(r(result, 0, 1)).toBeCloseTo(-0.5884, 4)
    expect(r(result, 0, 2)).toBeCloseTo(-0.4853, 4)
    expect(r(result, 1, 2)).toBeCloseTo(0.9925, 4)
  })

  test('leaving the correlation out is wrong both ways: 0.1945, 0.2009, 0.2041 ohm (computed)', () => {
    const { u } = budget(() => 0)
    expect(u[0]).toBeCloseTo(0.1945, 3)
    expect(u[1]).toBeCloseTo(0.2009, 3)
    expect(u[2]).toBeCloseTo(0.2041, 3)
  })
})

describe('GUM example H.1, end gauge', () => {
  const components = [[25, 18], [5.8, 24], [3.9, 5], [6.7, 8], [2.9, 50], [16.675, 2]]
    .map(([u, dof], i) => ({ label: `part ${i}`, u: u!, dof: dof! }))

  test('uc 31.705 nm and effective degrees of freedom 16.64 (parts read second-hand, sums computed)', () => {
    const { u, dof } = combineUncertainty(components)
    expect(u).toBeCloseTo(31.705, 2)
    expect(dof).toBeCloseTo(16.64, 2)
  })

  test('degrees of freedom are truncated: k95 2.1199, k99 2.9208; U99 93 nm (93 nm from memory)', () => {
    expect(expandUncertainty(32, 16.7, 0.95).k).toBeCloseTo(2.1199, 4)
    const wide = expandUncertainty(32, 16.7, 0.99)
    expect(wide.dofUsed).toBe(16)
    expect(wide.k).toBeCloseTo(2.9208, 4)
    expect(Math.abs(wide.expanded - 93)).toBeLessThan(0.5)
  })

  test('the comparator group has 9.7 nm and 25.6 degrees of freedom (from memory, recomputed)', () => {
    const { u, dof } = combineUncertainty(components.slice(1, 4))
    expect(u).toBeCloseTo(9.7, 1)
    // the 25.6 comes of the rounded 9.7; unrounded it is 25.45
    expect(Math.abs(dof * (9.7 / u) ** 4 - 25.6)).toBeLessThan(0.05)
    expect(dof).toBeCloseTo(25.447, 2)
  })
})

test('a meter limit of 0.007 % of 4.7 kohm plus 0.001 % of 10 kohm is u = 0.247683 ohm (computed)', () => {
  expect(uOfAccuracy(4700, 7e-5, 10_000, 1e-5)).toBeCloseTo(0.247683, 6)
})
