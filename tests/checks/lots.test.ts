/** Published and independently computed values of what is said of a lot; each with its source. */
import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { capability } from '../../src/analysis/lots/capability.ts'
import { compareLots, mannWhitney } from '../../src/analysis/lots/comparison.ts'
import { cusumChart, ewmaChart, individualsChart, meanRangeChart, meanRangeLimits } from '../../src/analysis/lots/control-charts.ts'
import { gaugeAnova, gaugeRange } from '../../src/analysis/lots/gauge-study.ts'
import { histogram } from '../../src/analysis/lots/histogram.ts'
import { grubbsCritical, grubbsTest, robustOutliers } from '../../src/analysis/lots/outliers.ts'
import { d2Star, rangeConstants } from '../../src/analysis/lots/range-constants.ts'
import { arrheniusFactor, failuresIn1e9h, fitWeibull, mtbfBounds } from '../../src/analysis/lots/reliability.ts'
import { summariseLot } from '../../src/analysis/lots/summary.ts'
import { yieldOf } from '../../src/analysis/lots/yield.ts'
import { binomialCdf } from '../../src/analysis/binomial.ts'
import { packageFile } from '../../src/base/paths.ts'
import { SeededRandom } from '../../src/base/random.ts'

const dataOf = (name: string) => JSON.parse(readFileSync(packageFile('tests/checks/data/spc', name), 'utf8'))

describe('capability (NIST/SEMATECH e-Handbook 6.1.6, read: limits 8 and 20, mean 16, s 2)', () => {
  test('Cp 1.0, Cpk 0.6667', () => {
    const got = capability({ n: 50, mean: 16, s: 2 }, { lower: 8, upper: 20 })
    expect(got.cp).toBeCloseTo(1, 12)
    expect(got.cpk).toBeCloseTo(0.6667, 4)
  })

  test('interval by Bissell\'s formula: n 50, Cpk 2/3 gives ±0.16188 (computed by hand)', () => {
    const { cpkLow, cpkHigh, cpk } = capability({ n: 50, mean: 16, s: 2 }, { lower: 8, upper: 20 })
    expect(cpkHigh - cpk).toBeCloseTo(1.959964 * Math.sqrt(1 / 450 + 4 / 9 / 98), 5)
    expect((cpkLow + cpkHigh) / 2).toBeCloseTo(cpk, 12)
  })

  test('the interval holds the true Cpk in about 95 of 100 simulated lots', () => {
    const random = new SeededRandom(1)
    let held = 0
    for (let lot = 0; lot < 2000; lot++) {
      const values = Array.from({ length: 40 }, () => random.normal())
      const { capability: got } = summariseLot(values, { lower: -4, upper: 4 })
      if (got!.cpkLow <= 4 / 3 && 4 / 3 <= got!.cpkHigh) held++
    }
    expect(held / 2000).toBeGreaterThan(0.92)
    expect(held / 2000).toBeLessThan(0.98)
  })

  test('one limit: no Cp; crossed limits are refused', () => {
    expect(capability({ n: 9, mean: 1, s: 1 }, { upper: 4 })).toMatchObject({ cp: undefined, cpk: 1 })
    expect(() => capability({ n: 9, mean: 1, s: 1 }, { lower: 4, upper: 1 })).toThrow(/below/)
  })
})

describe('outliers', () => {
  const mass = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
  test('Grubbs, NIST/SEMATECH e-Handbook 1.3.5.17.1 (read): G 2.46876 over 2.0317 one-sided, 2.1266 two-sided', () => {
    const high = grubbsTest(mass, 'high')
    expect(high.g).toBeCloseTo(2.46876, 5)
    expect(high).toMatchObject({ index: 7, outlier: true })
    expect(high.critical).toBeCloseTo(2.0317, 4)
    expect(grubbsTest(mass).critical).toBeCloseTo(2.1266, 4)
    expect(grubbsTest(mass, 'low').outlier).toBe(false)
  })

  test('critical values equal the table computed independently from the closed form', () => {
    const { critical } = dataOf('grubbs.json') as { critical: Record<string, Record<string, number>> }
    expect(Object.keys(critical)).toHaveLength(31)
    for (const [n, row] of Object.entries(critical)) {
      expect(grubbsCritical(Number(n), true, 0.05)).toBeCloseTo(row.one05!, 3.6)
      expect(grubbsCritical(Number(n), true, 0.01)).toBeCloseTo(row.one01!, 3.6)
      expect(grubbsCritical(Number(n), false, 0.05)).toBeCloseTo(row.two05!, 3.6)
      expect(grubbsCritical(Number(n), false, 0.01)).toBeCloseTo(row.two01!, 3.6)
    }
  })

  test('two outliers that hide one another from Grubbs do not hide from the robust rule', () => {
    const lot = [10, 10.1, 9.9, 10.05, 9.95, 20, 20.1]
    expect(grubbsTest(lot).outlier).toBe(false)
    expect(robustOutliers(lot)).toEqual([5, 6])
    expect(robustOutliers([1, 1, 1, 2])).toEqual([3])
  })
})

describe('yield', () => {
  test('the exact interval: binomial tails at its ends are 2.5 %, and none bad gives the rule of three', () => {
    const { low, high } = yieldOf(45, 50)
    expect(1 - binomialCdf(44, 50, low)).toBeCloseTo(0.025, 6)
    expect(binomialCdf(45, 50, high)).toBeCloseTo(0.025, 6)
    expect(yieldOf(100, 100, 0.9).low).toBeCloseTo(0.05 ** 0.01, 7)
    expect(yieldOf(0, 10)).toMatchObject({ share: 0, low: 0 })
    expect(() => yieldOf(3, 2)).toThrow(/0 to 2/)
  })
})

describe('summary of a lot', () => {
  test('bins hold every part once, with a round width', () => {
    const random = new SeededRandom(2)
    const values = Array.from({ length: 300 }, () => 4700 + 30 * random.normal())
    const bins = histogram(values)
    expect(bins.reduce((n, b) => n + b.count, 0)).toBe(300)
    expect(bins[0]!.upper - bins[0]!.lower).toBeCloseTo(20, 9)
    for (const b of bins) {
      expect(b.count).toBe(values.filter(v => v >= b.lower && v < b.upper).length)
    }
    expect(histogram([...values, 1e6]).length).toBeLessThanOrEqual(61)
    expect(histogram([5, 5])).toEqual([{ lower: 5, upper: 5, count: 2 }])
  })

  test('a lot of one part, and one of equal parts, have no spread to judge by', () => {
    expect(summariseLot([3], { lower: 1 })).toMatchObject({ n: 1, s: undefined, capability: undefined, grubbs: undefined })
    expect(summariseLot([3, 3, 3], { upper: 2 })).toMatchObject({ s: 0, capability: undefined, yield: { good: 0, n: 3 } })
  })
})

describe('control charts', () => {
  test('constants by integration equal the table to one of its last digits (n 2 to 10; source in the file)', () => {
    const table = (dataOf('control-chart-constants.json') as { n: Record<string, Record<string, number>> }).n
    for (const [n, row] of Object.entries(table)) {
      const got = rangeConstants(Number(n))
      expect(Math.abs(got.d2 - row.d2!), n).toBeLessThan(1.1e-4)
      expect(Math.abs(got.d3 - row.d3!), n).toBeLessThan(1.1e-4)
      expect(Math.abs(got.c4 - row.c4!), n).toBeLessThan(1.1e-4)
      expect(Math.abs(got.a2 - row.A2!), n).toBeLessThan(1.1e-4)
      expect(Math.abs(got.D3 - row.D3!), n).toBeLessThan(1.1e-4)
      expect(Math.abs(got.D4 - row.D4!), n).toBeLessThan(1.1e-4)
    }
    expect(rangeConstants(2).d2).toBeCloseTo(2 / Math.sqrt(Math.PI), 7)
    expect(rangeConstants(2).D4).toBeCloseTo(1 + 3 * Math.sqrt(Math.PI / 2 - 1), 6)
    expect(rangeConstants(3).d2).toBeCloseTo(3 / Math.sqrt(Math.PI), 7)
  })

  test('individuals, NIST 6.3.2.2 (read): mean 50.81, mean range 1.8778; its limits use d2 rounded to 1.128', () => {
    const { data, mean, mrBar, ucl, lcl } = dataOf('nist-charts.json').individuals
    const { individuals, movingRange } = individualsChart(data)
    expect(individuals.centre).toBeCloseTo(mean, 4)
    expect(movingRange.centre).toBeCloseTo(mrBar, 4)
    const rounded = rangeConstants(2).d2 / 1.128
    expect(individuals.centre + (individuals.upper - individuals.centre) * rounded).toBeCloseTo(ucl, 4)
    expect(individuals.centre - (individuals.centre - individuals.lower) * rounded).toBeCloseTo(lcl, 4)
    expect(individuals.outside).toEqual([])
    expect(individualsChart([1, 1.1, 0.9, 1, 1.1, 1, 0.9, 1, 5]).individuals.outside).toEqual([8])
  })

  test('means and ranges (textbook example, read: n 5, grand mean 0.0022, mean range 0.0356)', () => {
    const { means, ranges } = meanRangeLimits(0.0022, 0.0356, 5)
    expect(means.upper).toBeCloseTo(0.0227, 4)
    expect(means.lower).toBeCloseTo(-0.0183, 4)
    expect(ranges.upper).toBeCloseTo(0.0753, 4)
    const chart = meanRangeChart([[1, 2, 3], [2, 3, 4], [1, 2, 3], [20, 21, 22]])
    expect(chart.means.points).toEqual([2, 3, 2, 21])
    expect(chart.means.outside).toContain(3)
  })

  test('EWMA, NIST 6.3.2.4 (read): each printed point, and limits (it prints 47.4115, unrounded 47.41157)', () => {
    const { data, target, s, lam, printed, ucl } = dataOf('nist-charts.json').ewma
    const got = ewmaChart(data, { target, sd: s, weight: lam })
    got.points.forEach((p, i) => expect(p).toBeCloseTo(printed[i], 1.9))
    expect(got.upper).toBeCloseTo(ucl, 4)
    expect(got.lower).toBeCloseTo(47.41157, 4)
    expect(got.outside).toEqual([])
  })

  test('CUSUM, NIST 6.3.2.3 (read): both sums of each group, signal at group 14', () => {
    const { data, target, k, h, sHigh, sLow, firstSignalGroup } = dataOf('nist-charts.json').cusum
    const got = cusumChart(data, { target, k, h })
    got.high.forEach((v, i) => expect(v).toBeCloseTo(sHigh[i], 4))
    got.low.forEach((v, i) => expect(v).toBeCloseTo(sLow[i], 4))
    expect(got.firstSignal + 1).toBe(firstSignalGroup)
  })
})

describe('gauge study: ten parts, three appraisers, three trials (published example, numbers read)', () => {
  const { values } = dataOf('gauge-rr-10x3x3.json') as { values: Record<string, Record<string, number[]>> }
  const readings = Object.values(values).map(one => Object.values(one))

  test('analysis of variance, interaction pooled: EV 0.199933, AV 0.226838, GRR 0.302373, PV 1.042327', () => {
    const got = gaugeAnova(readings)
    expect(got.pooled).toBe(true)
    expect(got.repeatability).toBeCloseTo(0.199933, 5)
    expect(got.reproducibility).toBeCloseTo(0.226838, 5)
    expect(got.gauge).toBeCloseTo(0.302373, 5)
    expect(got.parts).toBeCloseTo(1.042327, 5)
    expect(got.total).toBeCloseTo(1.0853, 4)
    expect(100 * got.gaugeShare).toBeCloseTo(27.86, 2)
    expect(got.distinct).toBeCloseTo(4.86, 2)
    expect(100 * (got.gauge / got.total) ** 2).toBeCloseTo(7.76, 2)
  })

  test('its mean squares and the test of the interaction: F 0.434, p 0.9741; unpooled repeatability 0.214435', () => {
    const { ms, interactionF, interactionP } = gaugeAnova(readings)
    expect(ms.appraisers).toBeCloseTo(1.58363, 4)
    expect(ms.parts).toBeCloseTo(9.81799, 4)
    expect(ms.interaction).toBeCloseTo(0.019943, 5)
    expect(ms.error).toBeCloseTo(0.045982, 5)
    expect(interactionF).toBeCloseTo(0.434, 3)
    expect(interactionP).toBeCloseTo(0.9741, 4)
    expect(gaugeAnova(readings, 1)).toMatchObject({ pooled: false })
    expect(gaugeAnova(readings, 1).repeatability).toBeCloseTo(0.214435, 5)
  })

  test('range method: K1 0.5908, K2 0.5231, K3 0.3146 (read), EV 0.2019, AV 0.2297, GRR 0.3058, PV 1.1046, ndc 5.09', () => {
    expect(1 / rangeConstants(3).d2).toBeCloseTo(0.5908, 4)
    expect(1 / d2Star(3, 1)).toBeCloseTo(0.5231, 4)
    expect(1 / d2Star(10, 1)).toBeCloseTo(0.3146, 4)
    const got = gaugeRange(readings)
    // computed independently with the constants rounded to four digits
    expect(got.repeatability).toBeCloseTo(0.201857, 4)
    expect(got.reproducibility).toBeCloseTo(0.229667, 3.7)
    expect(got.gauge).toBeCloseTo(0.305766, 3.7)
    expect(got.parts).toBeCloseTo(1.104596, 3)
    expect(got.distinct).toBeCloseTo(5.09, 1.9)
  })

  test('finds an interaction that is there: simulated with known truth', () => {
    const random = new SeededRandom(4)
    const simulated = Array.from({ length: 3 }, () => Array.from({ length: 30 }, (_, p) => {
      const own = Math.sin(p) + 0.5 * random.normal()
      return Array.from({ length: 5 }, () => own + 0.1 * random.normal())
    }))
    const got = gaugeAnova(simulated)
    expect(got.pooled).toBe(false)
    expect(got.repeatability).toBeCloseTo(0.1, 1.9)
    expect(got.reproducibility).toBeGreaterThan(0.4)
    expect(got.reproducibility).toBeLessThan(0.6)
  })
})

describe('life', () => {
  const failures = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
  test('Weibull with ten survivors at 500 h, NIST 8.4.1.3 (read): shape 1.72080, scale 606.528, log-likelihood -75.135', () => {
    const fit = fitWeibull({ failures, survivors: new Array<number>(10).fill(500) })
    expect(fit.shape).toBeCloseTo(1.7208, 4)
    expect(Math.abs(fit.scale - 606.528)).toBeLessThan(0.06)
    expect(fit.logLikelihood).toBeCloseTo(-75.135, 3)
    expect(Math.abs(fit.life(0.1) - 164.02)).toBeLessThan(0.02)
  })

  test('Weibull finds what simulated lives were drawn from; what has no shape is refused', () => {
    const random = new SeededRandom(9)
    const times = Array.from({ length: 5000 }, () => 1000 * (-Math.log(1 - random.next())) ** (1 / 3))
    const fit = fitWeibull({ failures: times.filter(t => t < 1100), survivors: times.filter(t => t >= 1100).map(() => 1100) })
    expect(Math.abs(fit.shape - 3)).toBeLessThan(0.15)
    expect(Math.abs(fit.scale - 1000)).toBeLessThan(15)
    expect(() => fitWeibull({ failures: [3] })).toThrow(/two failures/)
    expect(() => fitWeibull({ failures: [3, 3] })).toThrow(/differ/)
  })

  test('MTBF bounds (formula NIST 8.4.5.1, read; example from memory: 800 h, 2 failures, 90 % two-sided)', () => {
    const { mtbf, lower, upper } = mtbfBounds(800, 2, 0.05)
    expect(mtbf).toBe(400)
    expect(lower / mtbf).toBeCloseTo(0.3177, 4)
    expect(upper / mtbf).toBeCloseTo(5.6281, 3)
  })

  test('no failures in 1000 h (T/(-ln alpha), read): 1091.36, 434.29 and 333.81 h at 60, 90 and 95 %', () => {
    expect(mtbfBounds(1000, 0, 0.4).lower).toBeCloseTo(1091.36, 2)
    expect(mtbfBounds(1000, 0, 0.1).lower).toBeCloseTo(434.29, 2)
    expect(mtbfBounds(1000, 0, 0.05).lower).toBeCloseTo(333.81, 2)
    expect(mtbfBounds(1000, 0, 0.05).upper).toBe(Infinity)
    expect(failuresIn1e9h(mtbfBounds(1e6, 0, 0.4).lower)).toBeCloseTo(916.29, 2)
  })

  test('Arrhenius: 0.7 eV, 55 to 125 °C gives 77.65 (computed independently)', () => {
    expect(arrheniusFactor(0.7, 55, 125)).toBeCloseTo(77.65, 1)
    expect(arrheniusFactor(0.7, 55, 55)).toBe(1)
  })
})

describe('two lots compared', () => {
  // Welch's t from its formula by hand for these small lots: means 3 and 5, variances 2.5 and 10, n 5 each.
  const [first, second] = [[1, 2, 3, 4, 5], [1, 3, 5, 7, 9]]
  test('Welch by hand: t 1.2649, dof 5.8824; F 4', () => {
    const got = compareLots(first, second)
    expect(got.difference).toBe(2)
    expect(got.means.t).toBeCloseTo(2 / Math.sqrt(2.5), 10)
    expect(got.means.dof).toBeCloseTo(2.5 ** 2 / (0.25 / 4 + 4 / 4), 10)
    expect(got.variances.f).toBeCloseTo(4, 10)
    expect(got.low).toBeLessThan(0)
    expect(got.means.p).toBeGreaterThan(0.2)
    expect(got.means.p).toBeLessThan(0.3)
  })

  test('Levene about medians by hand: deviations 2 1 0 1 2 and 4 2 0 2 4 give F 2.0571', () => {
    // means 1.2 and 2.4; between 5·2·0.36 = 3.6 on 1; within 2.8 + 11.2 = 14 on 8
    expect(compareLots(first, second).spreads.f).toBeCloseTo(3.6 / (14 / 8), 10)
  })

  test('Mann-Whitney counts pairs, ties as half', () => {
    const counted = first.flatMap(a => second.map(b => (b > a ? 1 : b === a ? 0.5 : 0))).reduce<number>((s, v) => s + v, 0)
    expect(mannWhitney(first, second).u).toBe(counted)
    expect(mannWhitney([1, 1], [1, 1]).p).toBe(1)
  })

  test('lots of one kind: each p is below 5 % in about 5 of 100; lots that differ are found', () => {
    const random = new SeededRandom(6)
    const lot = (n: number, shift = 0, scale = 1): number[] => Array.from({ length: n }, () => shift + scale * random.normal())
    const seen = { means: 0, variances: 0, spreads: 0, order: 0 }
    for (let trial = 0; trial < 2000; trial++) {
      const got = compareLots(lot(20), lot(30))
      for (const key of Object.keys(seen) as (keyof typeof seen)[]) if (got[key].p < 0.05) seen[key]++
    }
    for (const count of Object.values(seen)) {
      expect(count / 2000).toBeGreaterThan(0.025)
      expect(count / 2000).toBeLessThan(0.075)
    }
    const differ = compareLots(lot(60), lot(60, 3, 4))
    for (const { p } of [differ.means, differ.variances, differ.spreads, differ.order]) expect(p).toBeLessThan(0.01)
    expect(() => compareLots([1, 1], [2, 3])).toThrow(/alike/)
  })
})
