/** What the simulated units compute with: records of lines, lattices of tones, signals on a torus, curves. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../../src/base/random.ts'
import { bent, limited, untouchedShare, upperOf } from '../../../mocks/units/curves.ts'
import { latticeOf } from '../../../mocks/units/lattice.ts'
import { noiseRecord } from '../../../mocks/units/noise.ts'
import { sampled } from '../../../mocks/units/sampled.ts'
import { Torus, type Line } from '../../../mocks/units/torus.ts'
import { peakAt, sine } from './rig.ts'

const share = fc.double({ min: 0, max: 1, noNaN: true })

describe('a record of lines', () => {
  it('is their sum at every instant, without those above half the sampling rate', () => {
    const line = fc.record({ hz: share.map(x => 0.5 + 60_000 * x), re: share, im: share })
    fc.assert(fc.property(fc.array(line, { minLength: 1, maxLength: 6 }), fc.integer({ min: 30, max: 700 }), share,
      (lines, samples, atS) => {
        const got = sampled([...lines, { hz: 0, re: 0.3, im: 0 }], atS, 96_000, samples)
        for (let n = 0; n < samples; n++) {
          const want = lines.filter(({ hz }) => hz < 48_000).reduce((sum, each) => sum + valueOf(each, atS + n / 96_000), 0.3)
          expect(Math.abs(got[n]! - want)).toBeLessThan(1e-8)
        }
      }), { numRuns: 60 })
  })
  it('meets the same line ten hours later as a whole number of its periods on', () => {
    const line = [{ hz: 1000, re: 0.4, im: -0.7 }]
    const [early, late] = [sampled(line, 0, 48_000, 500), sampled(line, 36_000, 48_000, 500)]
    late.forEach((v, n) => { expect(Math.abs(v - early[n]!)).toBeLessThan(1e-9) })
  })
})

const valueOf = ({ hz, re, im }: Line, tS: number): number =>
  re * Math.cos(2 * Math.PI * hz * tS) - im * Math.sin(2 * Math.PI * hz * tS)

describe('a lattice of tones', () => {
  it('has one base where all are multiples of it, two where they are not, and leaves the third apart', () => {
    expect(latticeOf([sine(999.7, 1), sine(2 * 999.7, 0.01), sine(3 * 999.7, 0.02)]).basisHz).toEqual([999.7])
    expect(latticeOf([sine(19_000, 1), sine(20_000, 1)]).basisHz).toEqual([1000])
    expect(latticeOf([sine(60, 4), sine(7000, 1), sine(14_000, 0.01)]).basisHz).toEqual([60, 7000])
    const third = latticeOf([sine(60, 4), sine(7000, 1), sine(123.456, 1e-3)])
    expect(third.strays.map(({ frequencyHz }) => frequencyHz)).toEqual([123.456])
    expect(latticeOf([]).basisHz).toEqual([])
  })
  it('keeps every tone, with its volts and its phase', () => {
    const tone = fc.record({ frequencyHz: share.map(x => 20 + 20_000 * x), peakV: share.map(x => 0.1 + x), phaseRad: share.map(x => 6 * x) })
    fc.assert(fc.property(fc.array(tone, { minLength: 1, maxLength: 2 }), share, (tones, tS) => {
      const { basisHz, tones: placed, strays } = latticeOf(tones)
      expect(strays).toEqual([])
      const lines = placed.map(({ m, n, re, im }) => ({ hz: m * basisHz[0]! + n * (basisHz[1] ?? 0), re, im }))
      const want = tones.reduce((sum, { frequencyHz, peakV, phaseRad }) =>
        sum + peakV * Math.sin(2 * Math.PI * frequencyHz * tS + phaseRad), 0)
      expect(lines.reduce((sum, line) => sum + valueOf(line, tS), 0)).toBeCloseTo(want, 8)
    }))
  })
})

describe('a signal on a torus', () => {
  it('gives the harmonics of a polynomial of one tone as its closed form does', () => {
    // y = x + a·x² + b·x³ of A·sin: fundamental A + 3bA³/4, second a·A²/2, third b·A³/4, mean a·A²/2.
    const [a, b, peak] = [0.03, -0.01, 1.7]
    const torus = Torus.of(latticeOf([sine(777, peak)]), [64, 1]).curve(x => x + a * x * x + b * x ** 3)
    const size = (m: number): number => Math.hypot(torus.at(m).re, torus.at(m).im)
    expect(size(1)).toBeCloseTo(peak + 3 * b * peak ** 3 / 4, 13)
    expect(size(2)).toBeCloseTo(a * peak ** 2 / 2, 13)
    expect(size(3)).toBeCloseTo(Math.abs(b) * peak ** 3 / 4, 13)
    expect(torus.mean).toBeCloseTo(a * peak ** 2 / 2, 13)
    expect(size(4)).toBeLessThan(1e-15)
  })
  it('gives the products of two tones as the closed form does', () => {
    // Second-order sidebands a·A·B, third-order ¾·b·A²·B, upper tone B + b·(¾·B³ + 3/2·A²·B).
    const [a, b, low, high] = [0.02, 0.004, 2, 0.5]
    const torus = Torus.of(latticeOf([sine(61, low), sine(7003, high, 1)]), [64, 64])
      .curve(x => x + a * x * x + b * x ** 3)
    const size = (m: number, n: number): number => Math.hypot(torus.at(m, n).re, torus.at(m, n).im)
    for (const m of [1, -1]) expect(size(m, 1)).toBeCloseTo(a * low * high, 13)
    for (const m of [2, -2]) expect(size(m, 1)).toBeCloseTo(0.75 * b * low ** 2 * high, 13)
    expect(size(0, 1)).toBeCloseTo(high + b * (0.75 * high ** 3 + 1.5 * low ** 2 * high), 13)
    const lines = torus.lines(1e-12)
    expect(lines.reduce((sum, { hz, re, im }) => sum + (hz === 0 ? re * re : (re * re + im * im) / 2), 0))
      .toBeCloseTo(torus.meanSquare, 12)
  })
  it('passes a transfer function on one base and on two, real signals staying real', () => {
    for (const tones of [[sine(100, 1, 0.4)], [sine(100, 1, 0.4), sine(1234.5, 0.3, 2)]]) {
      const torus = Torus.of(latticeOf(tones), tones.length > 1 ? [32, 32] : [32, 1])
        .pass((hz, z) => z.lowPass(hz, 500).highPass(hz, 30))
      const got = torus.lines(1e-12).filter(({ hz }) => hz > 0)
      expect(got.length).toBe(tones.length)
      for (const { frequencyHz: f, peakV } of tones) {
        const line = got.find(({ hz }) => Math.abs(hz - f) < 1e-9)!
        expect(Math.hypot(line.re, line.im)).toBeCloseTo(peakV / Math.hypot(1, f / 500) / Math.hypot(1, 30 / f), 12)
      }
      expect(Math.hypot(...torus.copy().values) ** 2 / torus.values.length).toBeCloseTo(torus.meanSquare, 12)
    }
  })
})

describe('curves', () => {
  it('limit every value within the top, evenly, never falling, and leave small ones alone', () => {
    fc.assert(fc.property(share, share, fc.constantFrom(2, 6, 40, Infinity), (p, q, hardness) => {
      const [x, y] = [8 * p - 4, 8 * q - 4]
      const [fx, fy] = [limited(x, 1.5, hardness), limited(y, 1.5, hardness)]
      expect(Math.abs(fx)).toBeLessThanOrEqual(1.5)
      expect(limited(-x, 1.5, hardness)).toBe(-fx)
      if (x < y) expect(fx).toBeLessThanOrEqual(fy)
      if (hardness !== Infinity && Math.abs(x) < 1.5 * untouchedShare(hardness)) expect(Math.abs(fx - x)).toBeLessThan(1.5e-11)
    }))
  })
  it('bend no further than a straight line can be told from, and never fall', () => {
    fc.assert(fc.property(share, share, share, share, (a, b, p, q) => {
      const curve = bent(a - 0.5, b - 0.5)
      const [x, y] = [20 * p - 10, 20 * q - 10]
      if (x < y) expect(curve(x)).toBeLessThanOrEqual(curve(y))
      expect(curve(1e-6)).toBeCloseTo(1e-6, 11)
    }))
  })
  it('share a current between two devices with the product of idle squared', () => {
    fc.assert(fc.property(share, share, (i, idle) => {
      const upper = upperOf(i - 0.5, idle + 0.01)
      expect(upper * (upper - (i - 0.5))).toBeCloseTo((idle + 0.01) ** 2, 12)
    }))
  })
})

describe('noise', () => {
  it('has the density it is asked for, band by band, and no other', () => {
    const density = (hz: number): number => 1e-6 * (1 + 200 / hz)
    const bands = [[1, 12], [20, 60], [300, 340]] as const
    const got = bands.map(() => 0)
    const turns = 40
    for (let turn = 0; turn < turns; turn++) {
      const record = noiseRecord(new SeededRandom(turn), density, 1024, 1024)
      bands.forEach(([from, to], i) => {
        for (let k = from; k <= to; k++) got[i]! += peakAt(record, k) ** 2 / 2 / turns
      })
    }
    bands.forEach(([from, to], i) => {
      let want = 0
      for (let k = from; k <= to; k++) want += density(k)
      // Of n bins in so many records the sum scatters by 1/√(n·turns), 5 % in the first band.
      expect(Math.abs(got[i]! / want - 1)).toBeLessThan(0.16)
    })
  })
  it('is the same for the same seed and another for another', () => {
    const record = (seed: number): Float64Array => noiseRecord(new SeededRandom(seed), () => 1, 1000, 100)
    expect(record(1)).toEqual(record(1))
    expect(record(1)).not.toEqual(record(2))
  })
})
