import { describe, expect, test } from 'vitest'
import {
  correctOpenShort, describeImpedance, toImpedance, withOpenShort,
} from '../../src/analysis/impedance.ts'

describe('impedance check values', () => {
  test('1000 - j500 ohm at 1 kHz: D 2, Cs 318.31 nF, Cp 63.662 nF, Rp 1250 ohm (identity, computed)', () => {
    const z = describeImpedance({ rOhm: 1000, xOhm: -500 }, 1000)
    expect(z.d).toBeCloseTo(2, 12)
    expect(z.csF / 318.31e-9).toBeCloseTo(1, 4)
    expect(z.cpF / 63.662e-9).toBeCloseTo(1, 4)
    expect(z.rpOhm).toBeCloseTo(1250, 9)
  })

  test('open/short: 986.968122 - j508.867526 corrects to 1000 - j500 (formula read, values computed)', () => {
    const fixture = { short: { rOhm: 0.15, xOhm: 0.45 }, open: { gS: 2e-7, bS: 1.3e-5 } }
    const read = withOpenShort({ rOhm: 1000, xOhm: -500 }, fixture)
    expect(read.rOhm).toBeCloseTo(986.968122, 6)
    expect(read.xOhm).toBeCloseTo(-508.867526, 6)
    const part = correctOpenShort({ rOhm: 986.968122, xOhm: -508.867526 }, fixture)
    expect(part.rOhm).toBeCloseTo(1000, 5)
    expect(part.xOhm).toBeCloseTo(-500, 5)
  })

  test('Cs/Cp is 1.0009 at D 0.03 (read) and 1.25 at D 0.5, with Rp/Rs 5 (from memory)', () => {
    const at = (d: number) =>
      describeImpedance(toImpedance({ pair: 'Cs-D', first: 1e-6, second: d }, 120), 120)
    expect(at(0.03).csF / at(0.03).cpF).toBeCloseTo(1.0009, 6)
    expect(at(0.5).csF / at(0.5).cpF).toBeCloseTo(1.25, 12)
    expect(at(0.5).rpOhm / at(0.5).rOhm).toBeCloseTo(5, 12)
  })

  test('ESR at 120 Hz: D 0.16, 1000 uF 0.2122 ohm; D 0.20, 470 uF 0.5644 ohm (formula read)', () => {
    const esr = (c: number, d: number) => toImpedance({ pair: 'Cs-D', first: c, second: d }, 120).rOhm
    expect(esr(1000e-6, 0.16)).toBeCloseTo(0.2122, 4)
    expect(esr(470e-6, 0.20)).toBeCloseTo(0.5644, 4)
  })
})
