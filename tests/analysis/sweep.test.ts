import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { analyseSweep } from '../../src/analysis/audio/sweep.ts'
import { realInverse, realTransform } from '../../src/analysis/audio/fourier.ts'
import { signal } from '../../src/sound/signals.ts'
import { gaussian } from '../checks/audio-signals.ts'

const sampleHz = 48_000
const asked = { fromHz: 10, toHz: 22_000, seconds: 5 }
const played = signal({ kind: 'sweep', sampleHz, seconds: 5, levelDb: -6, hz: [10, 22_000], seed: 1 })

/** First-order corners as digital filters, so that their response is known in closed form. */
const lowPole = (hz: number): number => Math.exp(-2 * Math.PI * hz / sampleHz)
function lowPass(x: Float64Array, hz: number): Float64Array {
  const p = lowPole(hz)
  let y = 0
  return x.map(value => { y = p * y + (1 - p) * value; return y })
}
const lowPassGain = (hz: number, corner: number): number => {
  const p = lowPole(corner)
  const omega = 2 * Math.PI * hz / sampleHz
  return (1 - p) / Math.hypot(1 - p * Math.cos(omega), p * Math.sin(omega))
}
const late = (x: Float64Array, by: number, more = 24_000): Float64Array => {
  const y = new Float64Array(x.length + by + more)
  y.set(x, by)
  return y
}

describe('the inverse transform', () => {
  it('gives back the samples', () => {
    fc.assert(fc.property(fc.array(fc.double({ min: -1, max: 1, noNaN: true }), { minLength: 64, maxLength: 64 }), samples => {
      realInverse(realTransform(samples)).forEach((value, i) => expect(Math.abs(value - samples[i]!)).toBeLessThan(1e-13))
    }))
  })
})

describe('a sweep through a unit', () => {
  it('of nothing but a gain and a delay is flat', () => {
    const got = analyseSweep(played, late(played.map(value => 3 * value), 1234), sampleHz, asked)
    expect(got.gain.value).toBeCloseTo(3, 3)
    expect(got.delayS).toBeCloseTo(1234 / sampleHz, 9)
    for (const { db } of got.points) expect(Math.abs(db.value)).toBeLessThan(0.02)
    expect(got.points[0]!.frequencyHz).toBeCloseTo(20, 0)
    expect(got.points.at(-1)!.frequencyHz).toBeGreaterThan(20_000)
    expect(got.band.mostDb - got.band.leastDb).toBeLessThan(0.02)
    expect([got.lowHz, got.highHz]).toEqual([null, null])
  })
  it.each([3000, 9000])('with a corner at %d Hz follows it, and its corner is found', corner => {
    const got = analyseSweep(played, late(lowPass(played, corner), 500), sampleHz, asked)
    for (const { frequencyHz: hz, db } of got.points) {
      expect(Math.abs(db.value - 20 * Math.log10(lowPassGain(hz, corner) / lowPassGain(1000, corner)))).toBeLessThan(0.03)
    }
    const want = 10 ** (-3 / 20) * lowPassGain(1000, corner)
    expect(lowPassGain(got.highHz!, corner) / want).toBeCloseTo(1, 2)
    expect(got.lowHz).toBeNull()
  })
  it('that bends shows its second and third harmonic', () => {
    const bent = played.map(x => x + 0.02 * x * x - 0.04 * x ** 3)
    const got = analyseSweep(played, late(bent, 100), sampleHz, asked)
    const peak = 10 ** (-6 / 20)
    const fundamental = 1 - 0.04 * 0.75 * peak ** 2
    for (const { second, third } of got.points.filter(({ frequencyHz: hz }) => hz > 60 && hz < 5000)) {
      expect(second! / (0.02 * peak / 2 / fundamental)).toBeCloseTo(1, 1)
      expect(third! / (0.04 * peak ** 2 / 4 / fundamental)).toBeCloseTo(1, 1)
    }
  })
  it('in noise has intervals that hold what is true', () => {
    let [inside, all] = [0, 0]
    for (let seed = 1; seed <= 12; seed++) {
      const z = gaussian(seed)
      const { points } = analyseSweep(played, late(played, 0).map(value => value + 0.003 * z.next().value), sampleHz, asked)
      for (const { frequencyHz: hz, db } of points) {
        if (hz === 1000) continue
        all++
        if (Math.abs(db.value) <= 2 * db.u + 0.01) inside++
      }
    }
    expect(inside / all).toBeGreaterThan(0.85)
  })
  it('that equalises a record is told against the curve it is meant to have', () => {
    // The curve as a filter of the transform: exact by its own formula, of no code of the program.
    const size = 2 ** 19
    const { re, im } = realTransform(Float64Array.from({ length: size }, (_, i) => played[i] ?? 0))
    const curve = (hz: number): number => Math.hypot(1, 2 * Math.PI * hz * 318e-6)
      / Math.hypot(1, 2 * Math.PI * hz * 3180e-6) / Math.hypot(1, 2 * Math.PI * hz * 75e-6)
    for (let k = 0; k < re.length; k++) { const g = curve(k * sampleHz / size); re[k]! *= g; im[k]! *= g }
    const recorded = realInverse({ re, im })
    const against = analyseSweep(played, recorded, sampleHz, { ...asked, against: 'riaa' })
    expect(Math.max(...against.points.map(({ db }) => Math.abs(db.value)))).toBeLessThan(0.05)
    const flat = analyseSweep(played, recorded, sampleHz, asked)
    expect(flat.points.find(({ frequencyHz }) => Math.abs(frequencyHz - 8000) < 1)!.db.value).toBeLessThan(-11)
  })
  it('that is not there is not found', () => {
    const z = gaussian(3)
    const noise = Float64Array.from({ length: 300_000 }, () => z.next().value)
    expect(() => analyseSweep(played, noise, sampleHz, asked)).toThrow(/not found/)
    expect(() => analyseSweep(played, new Float64Array(300_000), sampleHz, asked)).toThrow(/not found/)
  })
})
