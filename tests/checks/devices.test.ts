/** Published and independently computed values of devices and temperature; each with its source. */
import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { gainWithoutLeakage, vbeDifferenceV } from '../../src/analysis/devices/bipolar.ts'
import { diodeThrough, fitDiode, junctionC, thermalVoltageV, voltageCoefficientPerK, zenerOhm } from '../../src/analysis/devices/diode.ts'
import { squareLawA, squareLawThrough, vgsOffFromPoint } from '../../src/analysis/devices/field-effect.ts'
import { platinumC, platinumOhm, platinumToleranceK } from '../../src/analysis/devices/platinum.ts'
import { fitShuntedDiode } from '../../src/analysis/devices/shunted-diode.ts'
import { steinhartHart, thermistorC } from '../../src/analysis/devices/thermistor.ts'
import { inversePolynomialC, thermocoupleC, thermocoupleMv, thermocoupleRange } from '../../src/analysis/devices/thermocouple.ts'
import { thermocoupleFunctions, type ThermocoupleType } from '../../src/analysis/devices/thermocouple-data.ts'
import { windingC, windingOhmAt, windingRiseK, zeroResistanceC } from '../../src/analysis/devices/winding.ts'
import { packageFile } from '../../src/base/paths.ts'
import { SeededRandom } from '../../src/base/random.ts'

const dataOf = (...name: string[]): string => readFileSync(packageFile('tests/checks/data', ...name), 'latin1')
const within = (got: number, expected: number, share: number): void =>
  expect(Math.abs(got / expected - 1)).toBeLessThan(share)

describe('diodes', () => {
  test('VT at 25 °C 25.692579 mV, at 300 K 25.852000 mV (SI constants, computed independently)', () => {
    expect(1000 * thermalVoltageV(25)).toBeCloseTo(25.692579, 6)
    expect(1000 * thermalVoltageV(26.85)).toBeCloseTo(25.852, 5)
    expect(1000 * thermalVoltageV(25) * Math.LN10).toBeCloseTo(59.159, 2)
  })

  test('two points, 0.1 mA 0.5500 V and 10 mA 0.7300 V: n 1.52131, Is 7.7426e-11 A (computed independently)', () => {
    const { n, isA } = diodeThrough([1e-4, 0.55], [1e-2, 0.73], 25)
    within(n, 1.52131, 1e-4)
    within(isA, 7.7426e-11, 1e-4)
    expect(() => diodeThrough([1e-2, 0.73], [1e-4, 0.55], 25)).toThrow(/more of both/)
  })

  const currents = [1e-5, 3e-5, 1e-4, 3e-4, 1e-3, 3e-3, 1e-2, 3e-2]
  test('eight points (constructed, truth 1.85, 0.6 ohm, 3.5e-9 A): n 1.8496, Rs 0.6026 ohm, Is 3.4907e-9 A', () => {
    const fit = fitDiode(currents, [0.3783, 0.4305, 0.4877, 0.5401, 0.5977, 0.6511, 0.7126, 0.7768], 25)
    if (!fit.ok) throw new Error(fit.reason)
    within(fit.n, 1.8496, 1e-3)
    within(fit.rsOhm, 0.6026, 1e-3)
    within(fit.isA, 3.4907e-9, 1e-3)
    expect(Math.abs(fit.n - 1.85)).toBeLessThan(3 * fit.uN)
    expect(Math.abs(fit.rsOhm - 0.6)).toBeLessThan(3 * fit.uRsOhm)
  })

  test('currents near Is (germanium): the fit finds the truth the points were made from', () => {
    const [n, rs, is] = [1.1, 2, 5e-6]
    const volts = currents.map(i => n * thermalVoltageV(25) * Math.log(i / is + 1) + i * rs)
    const fit = fitDiode(currents, volts, 25)
    if (!fit.ok) throw new Error(fit.reason)
    within(fit.n, n, 1e-6)
    within(fit.rsOhm, rs, 1e-6)
    within(fit.isA, is, 1e-6)
  })

  test('a resistor is no diode, and three points are too few', () => {
    const falling = fitDiode(currents, currents.map(i => 1 - 0.01 * Math.log(i)), 25)
    expect(falling).toEqual({ ok: false, reason: 'no junction' })
    expect(fitDiode([1, 2, 3], [1, 2, 3], 25)).toEqual({ ok: false, reason: 'too few points' })
    expect(() => fitDiode([0, 1], [0, 1], 25)).toThrow(/above 0/)
  })

  test('zener slope 8.5 ohm, coefficient 0.01216 %/K; junction 45 °C from -40 mV (computed independently)', () => {
    expect(zenerOhm(0.018, 5.098, 0.022, 5.132)).toBeCloseTo(8.5, 9)
    expect(100 * voltageCoefficientPerK(25, 5.1, 75, 5.131)).toBeCloseTo(0.01216, 5)
    expect(junctionC(25, 0.652, 0.612)).toBeCloseTo(45, 9)
  })

  test('26 points of a cell at 33 °C (Easwarakhanthan et al. 1986, read; published optimum in the file)', () => {
    const { V, I, bestFit } = JSON.parse(dataOf('diode', 'rtc-france.json'))
    const fit = fitShuntedDiode(V, I, 33)
    if (!fit.ok) throw new Error(fit.reason)
    console.log(`26 points: n ${fit.n}, Rs ${fit.rsOhm}, Rsh ${fit.rshOhm}, RMSE ${fit.rmseA}`)
    expect(fit.rmseA).toBeLessThanOrEqual(bestFit.RMSE * (1 + 1e-7))
    within(fit.n, bestFit.n, 1e-4)
    within(fit.rsOhm, bestFit.Rs, 1e-4)
    within(fit.rshOhm, bestFit.Rsh, 1e-3)
    within(fit.iphA, bestFit.Iph, 1e-6)
    within(fit.isA, bestFit.I0, 1e-3)
  })

  test('a leaky dark diode with known truth: both resistances and n are found', () => {
    const random = new SeededRandom(2)
    const [n, rs, rsh, is] = [1.6, 1.5, 20_000, 1e-8]
    const junctionV = Array.from({ length: 40 }, (_, i) => 0.05 + 0.016 * i)
    const amps = junctionV.map(v => -(is * Math.expm1(v / (n * thermalVoltageV(25))) + v / rsh))
    const volts = junctionV.map((v, i) => v - amps[i]! * rs)
    const fit = fitShuntedDiode(volts, amps.map(i => i * (1 + 1e-5 * random.normal())), 25)
    if (!fit.ok) throw new Error(fit.reason)
    within(fit.n, n, 0.01)
    within(fit.rsOhm, rs, 0.05)
    within(fit.rshOhm, rsh, 0.1)
  })

  test('a plain resistor has no junction to fit', () => {
    const volts = Array.from({ length: 20 }, (_, i) => 0.05 * i)
    expect(fitShuntedDiode(volts, volts.map(v => -v / 100), 25).ok).toBe(false)
    expect(fitShuntedDiode([1, 2], [1, 2], 25)).toEqual({ ok: false, reason: 'too few points' })
  })
})

describe('transistors', () => {
  test('germanium: 0.229 V off, 1.330 V on over 2472 ohm: 92.64 uA, gain 110.1, apparent 133 (worked example, read)', () => {
    const got = gainWithoutLeakage({ offV: 0.229, onV: 1.33, collectorOhm: 2472, supplyV: 9, baseOhm: 2.2e6, vbeV: 0.1 })
    expect(1e6 * got.leakageA).toBeCloseTo(92.64, 2)
    expect(1e6 * got.baseA).toBeCloseTo(4.04545, 5)
    expect(got.gain).toBeCloseTo(110.1, 1)
    expect(got.apparentGain).toBeCloseTo(133, 0)
    expect(got.leakageShare).toBeGreaterThan(0.1)
  })

  test('silicon: 5 V, 430 kohm, 0.65 V, 2.15 V over 1 kohm: IB 10.1163 uA, gain 212.529 (computed independently)', () => {
    const got = gainWithoutLeakage({ offV: 0, onV: 2.15, collectorOhm: 1000, supplyV: 5, baseOhm: 430e3, vbeV: 0.65 })
    expect(1e6 * got.baseA).toBeCloseTo(10.1163, 4)
    expect(got.gain).toBeCloseTo(212.529, 3)
    expect(() => gainWithoutLeakage({ offV: 1, onV: 1, collectorOhm: 1, supplyV: 5, baseOhm: 1, vbeV: 0.6 })).toThrow(/above the one without/)
  })

  test('10 % of saturation current is 2.4488 mV of VBE at 25 °C (computed independently)', () => {
    expect(1000 * vbeDifferenceV(1.1)).toBeCloseTo(2.4488, 4)
  })

  test('square law: IDSS 10 mA, 2.5 mA at -1.5 V gives -3 V; -4 V gives 5.625 mA at -1 V (exact)', () => {
    expect(vgsOffFromPoint(0.01, 0.0025, -1.5)).toBeCloseTo(-3, 12)
    expect(squareLawA(0.01, -4, -1)).toBeCloseTo(0.005625, 12)
    expect(squareLawA(0.01, -4, -5)).toBe(0)
    expect(squareLawA(0.01, 4, 1)).toBeCloseTo(0.005625, 12)
  })

  test('extrapolation through two points finds both laws', () => {
    const jfet = squareLawThrough([-0.5, squareLawA(0.01, -3, -0.5)], [-2, squareLawA(0.01, -3, -2)])
    expect(jfet.thresholdV).toBeCloseTo(-3, 10)
    expect(jfet.idssA).toBeCloseTo(0.01, 10)
    const mosfet = squareLawThrough([3, 0.5 * 1 ** 2], [4, 0.5 * 2 ** 2])
    expect(mosfet.thresholdV).toBeCloseTo(2, 10)
    expect(mosfet.gainAPerV2).toBeCloseTo(0.5, 10)
  })
})

describe('windings', () => {
  test('80 to 100 ohm from 20 °C, copper: 63.625 K (worked problem, read)', () => {
    expect(windingRiseK(80, 20, 100)).toBeCloseTo(63.625, 9)
  })

  test('air warmed from 22 to 26 °C: hot 86.8945 °C, rise 60.8945 K (computed independently)', () => {
    expect(windingC(100, 22, 125.3)).toBeCloseTo(86.8945, 6)
    expect(windingRiseK(100, 22, 125.3, 26)).toBeCloseTo(60.8945, 6)
  })

  test('12.40 ohm at 20 °C is 15.079764 ohm at 75 °C, 15.0745 with 235 (computed independently)', () => {
    expect(windingOhmAt(12.4, 20, 75)).toBeCloseTo(15.079764, 6)
    expect(windingOhmAt(12.4, 20, 75, 235)).toBeCloseTo(15.0745, 4)
    expect(windingC(12.4, 20, windingOhmAt(12.4, 20, 75, zeroResistanceC.aluminium), zeroResistanceC.aluminium)).toBeCloseTo(75, 9)
  })
})

describe('platinum (points read and recomputed; sources in the file)', () => {
  const { points } = JSON.parse(dataOf('pt100', 'pt100.json')) as { points: Record<string, number> }
  test('every point of the table, both ways', () => {
    expect(Object.keys(points).length).toBeGreaterThan(100)
    for (const [t, ohm] of Object.entries(points)) {
      expect(platinumOhm(Number(t)), t).toBeCloseTo(ohm, 3.98)
      expect(platinumC(platinumOhm(Number(t))), t).toBeCloseTo(Number(t), 8)
    }
    expect(platinumOhm(850, 1000)).toBeCloseTo(3904.811, 3)
  })

  test('outside the curve there is no temperature', () => {
    expect(platinumC(10)).toBeUndefined()
    expect(platinumC(400)).toBeUndefined()
    expect(() => platinumOhm(900)).toThrow(/850/)
    expect(platinumToleranceK('B', -100)).toBeCloseTo(0.8, 12)
  })
})

/** All entries of the printed tables: type, °C, mV. A line starts with its decade; a table that falls starts with -. */
function printedTables(): { type: ThermocoupleType; tempC: number; mv: number }[] {
  const entries = new Map<string, { type: ThermocoupleType; tempC: number; mv: number }>()
  let type: ThermocoupleType | undefined
  let step = 1
  for (const line of dataOf('its90', 'all.tab').split(/\r?\n/)) {
    type = (/Table for type (\w)/.exec(line)?.[1] ?? type) as ThermocoupleType | undefined
    if (/C\s+0\s+-1/.test(line)) step = -1
    else if (/C\s+0\s+1/.test(line)) step = 1
    const numbers = /^\s*-?\d+(\s+-?\d+\.\d+)+\s*$/.test(line) ? line.trim().split(/\s+/).map(Number) : []
    numbers.slice(1).forEach((mv, i) => {
      const tempC = numbers[0]! + step * i
      entries.set(`${type}${tempC}`, { type: type!, tempC, mv })
    })
  }
  return [...entries.values()]
}

describe('thermocouples on ITS-90', () => {
  test('every entry of the printed tables of eight types (NIST, public domain) to half its last digit', () => {
    const all = printedTables()
    console.log(`${all.length} entries of the thermocouple tables`)
    expect(all.length).toBeGreaterThan(11_000)
    expect(new Set(all.map(e => e.type)).size).toBe(8)
    const off = all.filter(({ type, tempC, mv }) => Math.abs(thermocoupleMv(type, tempC) - mv) > 0.00051)
    expect(off).toEqual([])
  })

  test('K: 1.000242, 4.096230, 20.644286, 41.275606, -3.553631 mV at 25, 100, 500, 1000, -100 °C', () => {
    const expected = [[25, 1.000242], [100, 4.09623], [500, 20.644286], [1000, 41.275606], [-100, -3.553631]] as const
    for (const [t, mv] of expected) expect(thermocoupleMv('K', t)).toBeCloseTo(mv, 6)
  })

  test('K, published inverse polynomials: 4.096, 20.644, -3.554 mV give 99.963, 499.981, -100.004 °C', () => {
    expect(Math.abs(inversePolynomialC('K', 4.096)! - 99.963)).toBeLessThan(5e-3)
    expect(Math.abs(inversePolynomialC('K', 20.644)! - 499.981)).toBeLessThan(5e-3)
    expect(Math.abs(inversePolynomialC('K', -3.554)! + 100.004)).toBeLessThan(5e-3)
  })

  test('the reference junction adds its voltage: K reads 3.095988 mV at 25 °C of junction: 100 °C', () => {
    expect(thermocoupleC('K', 3.095988, 25)).toBeCloseTo(100, 3)
  })

  test('each type both ways over its range, and inverse polynomials within their stated error', () => {
    for (const type of Object.keys(thermocoupleFunctions) as ThermocoupleType[]) {
      const { leastC, mostC } = thermocoupleRange(type)
      for (let t = type === 'B' ? 45 : leastC + 1; t < mostC; t += 7.3) {
        expect(thermocoupleC(type, thermocoupleMv(type, t)), `${type} ${t}`).toBeCloseTo(t, 5)
      }
      for (const { fromMv, toMv, errorC: [low, high] } of thermocoupleFunctions[type].inverse) {
        for (let step = 0.5; step < 20; step++) {
          const mv = fromMv + (toMv - fromMv) * step / 20
          const error = inversePolynomialC(type, mv)! - thermocoupleC(type, mv)!
          // the stated errors are printed to one digit
          expect(error, `${type} ${mv}`).toBeGreaterThan(low * 1.3 - 0.005)
          expect(error, `${type} ${mv}`).toBeLessThan(high * 1.3 + 0.005)
        }
      }
    }
  })

  test('outside the range there is no temperature', () => {
    expect(thermocoupleC('K', 60)).toBeUndefined()
    expect(thermocoupleC('T', -7)).toBeUndefined()
    expect(inversePolynomialC('B', 0.1)).toBeUndefined()
    expect(() => thermocoupleMv('K', 1400)).toThrow(/not defined/)
  })
})

describe('thermistor (table read: 0 °C 32128, 25 °C 9814, 50 °C 3542 ohm)', () => {
  test('coefficients 1.104159e-3, 2.389179e-4, 6.931627e-8; 19549 ohm is 10.0001 °C, 7908 ohm 29.9978 °C', () => {
    const curve = steinhartHart([[0, 32128], [25, 9814], [50, 3542]])
    within(curve.a, 1.104159e-3, 1e-5)
    within(curve.b, 2.389179e-4, 1e-5)
    within(curve.c, 6.931627e-8, 1e-4)
    expect(thermistorC(curve, 19549)).toBeCloseTo(10.0001, 3)
    expect(thermistorC(curve, 7908)).toBeCloseTo(29.9978, 3)
    expect(() => steinhartHart([[0, 100], [25, 100], [50, 50]])).toThrow(/different/)
  })
})
