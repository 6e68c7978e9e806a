/**
 * Insulation, leakage and bleeding against worked values. "read": the formula or figure was read in print; "second hand": in
 * print that repeats another; "from memory": neither. What was not printed is computed from the formula by hand.
 */
import { describe, expect, it } from 'vitest'
import { absorptionMost, leakageMost, propyleneAbsorption, type Rated } from '../../src/screening/capacitor-limits.ts'
import { capacitorConditions } from '../../src/screening/methods/capacitor.ts'
import { chargingOf } from '../../src/screening/methods/charging.ts'
import { bleederMostOhm, bleedS, earthLeakageA } from '../../src/screening/methods/mains-part.ts'
import type { Capacitor } from '../../src/screening/to-prove.ts'

const part = (dielectric: Rated['dielectric'], farad: number, ratedV: number, over: Partial<Rated> = {}): Rated =>
  ({ dielectric, farad, ratedV, isPolar: dielectric === 'electrolytic', isMains: false, ...over })
const close = (got: number, wanted: number): void => expect(got / wanted).toBeCloseTo(1, 6)

describe('insulation', () => {
  it.each<[source: string, Rated, ohm: number]>([
    ['metallised polypropylene, 1 µF: 30,000 MΩ (maker data sheet, read, computed)', part('film', 1e-6, 250, { isPropylene: true }), 30e9],
    ['metallised polypropylene, 0.1 µF: 100,000 MΩ (maker data sheet, read)', part('film', 1e-7, 250, { isPropylene: true }), 100e9],
    ['class 2, 10 µF: 50 MΩ (maker\'s table of tests, read, computed)', part('ceramic-2', 10e-6, 25), 50e6],
    ['class 2, 0.01 µF: 10,000 MΩ (maker\'s table of tests, read, computed)', part('ceramic-2', 10e-9, 50), 10e9],
    ['polyester, 0.1 µF 400 V: 15,000 MΩ (from memory)', part('film', 1e-7, 400), 15e9],
    ['polyester, 1 µF 63 V: 1,250 s, so 1,250 MΩ (from memory, computed)', part('film', 1e-6, 63), 1.25e9],
    ['silver mica, 470 pF: 100 GΩ (from memory)', part('mica', 470e-12, 500), 100e9],
    ['paper, 22 nF: below 100 MΩ it is condemned (common practice)', part('paper', 22e-9, 400), 100e6],
    ['mains class, 0.1 µF: 15,000 MΩ (from memory)', part('film', 1e-7, 275, { isMains: true }), 15e9],
  ])('%s', (_source, rated, ohm) => { close(rated.ratedV / leakageMost(rated).ampere.high!, ohm) })
})

describe('leakage', () => {
  it.each<[source: string, Rated, ua: number, afterS: number]>([
    ['worked question on a data sheet, 100 µF 10 V: 10 µA (second hand)', part('electrolytic', 100e-6, 10), 10, 120],
    ['maker FAQ, 2200 µF 35 V: 770 µA printed (read)', part('electrolytic', 2200e-6, 35), 770, 120],
    ['maker data sheet, 1 µF 10 V: floor of 3 µA (read)', part('electrolytic', 1e-6, 10), 3, 120],
    ['maker data sheet, 160 to 450 V, 100 µF 400 V: 2410 µA (read, computed)', part('electrolytic', 100e-6, 400), 2410, 120],
    ['maker data sheet, non-polar, 10 µF 50 V: 18 µA (read, computed)', part('electrolytic', 10e-6, 50, { isPolar: false }), 18, 300],
    ['solid tantalum, 47 µF 25 V: 11.75 µA (from memory, computed)', part('tantalum', 47e-6, 25), 11.75, 300],
    ['solid tantalum, 1 µF 10 V: floor of 0.5 µA (from memory)', part('tantalum', 1e-6, 10), 0.5, 300],
  ])('%s', (_source, rated, ua, afterS) => {
    const limit = leakageMost(rated)
    close(limit.ampere.high!, ua * 1e-6)
    expect(limit.afterS).toBe(afterS)
  })
})

describe('absorption', () => {
  it('of polypropylene at 100 V gives back 0.05 to 0.1 V, of polyester 0.2 to 0.25 V (a maker\'s note, read)', () => {
    close(100 * propyleneAbsorption.high!, 0.1)
    close(100 * absorptionMost.film.high!, 0.25)
  })
})

describe('bleeding', () => {
  const peakV = 264 * Math.SQRT2
  it('0.47 µF from 264 V to 60 V in 2 s: at most 2.33 MΩ (time read, volts from memory, computed)', () => {
    expect(bleederMostOhm(0.47e-6, peakV, { volts: 60, afterS: 2 }) / 1e6).toBeCloseTo(2.33, 2)
  })
  it('0.47 µF from 264 V to 34 V in 1 s: at most 0.888 MΩ (second hand, computed)', () => {
    expect(bleederMostOhm(0.47e-6, peakV, { volts: 34, afterS: 1 }) / 1e6).toBeCloseTo(0.888, 3)
  })
  it('200 nF to 37 % in 1 s: at most 5 MΩ (second hand)', () => {
    close(bleederMostOhm(200e-9, Math.E, { volts: 1, afterS: 1 }), 5e6)
  })
  it('470 µF at 400 V through 10 kΩ: 8.92 s to 60 V, 20.60 s to 5 V (V0·exp(−t/RC), read, computed)', () => {
    expect([bleedS(10e3, 470e-6, 400, 60), bleedS(10e3, 470e-6, 400, 5)].map(s => s.toFixed(2))).toEqual(['8.92', '20.60'])
  })
  it('10,000 µF at 63 V through 1 kΩ to 10 V: 18.4055 s (computed beforehand)', () => {
    expect(bleedS(1e3, 10e-3, 63, 10)).toBeCloseTo(18.4055, 4)
  })
  it('4.7 nF to earth at 230 V and 50 Hz: 0.340 mA (2π·f·C·V, computed)', () => {
    expect(1e3 * earthLeakageA(4.7e-9, 230, 50)).toBeCloseTo(0.339606, 6)
  })
})

describe('how a part is measured and charged', () => {
  const capacitor = (dielectric: Capacitor['dielectric'], nominal: number, ratedV: number): Capacitor & { leakage: NonNullable<Capacitor['leakage']> } => ({
    kind: 'capacitor', dielectric, dissipation: null, leakage: leakageMost(part(dielectric, nominal, ratedV)),
    farad: { nominal, minus: 0, plus: 0, source: 'check value' },
  })
  it('class 2 of 22 µF at 120 Hz and 0.5 V, of 10 µF at 1 kHz and 1 V; class 1 of 1 nF at 1 MHz (maker FAQ, read)', () => {
    expect(capacitorConditions(capacitor('ceramic-2', 22e-6, 25))).toEqual({ frequencyHz: 120, levelV: 0.5 })
    expect(capacitorConditions(capacitor('ceramic-2', 10e-6, 25))).toEqual({ frequencyHz: 1000, levelV: 1 })
    expect(capacitorConditions(capacitor('ceramic-1', 1e-9, 50))).toEqual({ frequencyHz: 1e6, levelV: 1 })
    expect(capacitorConditions(capacitor('ceramic-1', 1.1e-9, 50))).toEqual({ frequencyHz: 1000, levelV: 1 })
  })
  it('470 µF at 400 V holds 37.6 J (½·C·V², computed)', () => {
    expect(chargingOf(capacitor('electrolytic', 470e-6, 400), { voltageMaxV: 400, currentMaxA: 1 }).energyJ).toBeCloseTo(37.6, 6)
  })
})
