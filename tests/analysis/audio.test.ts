import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { realTransform } from '../../src/analysis/audio/fourier.ts'
import { analyseDifference, analyseModulation } from '../../src/analysis/audio/intermodulation.ts'
import { analyseNoise, humOf } from '../../src/analysis/audio/noise.ts'
import { fitSine } from '../../src/analysis/audio/sine-fit.ts'
import { spectrumIn, spectrumOf, transformed } from '../../src/analysis/audio/spectrum.ts'
import { analyseTone } from '../../src/analysis/audio/tone.ts'
import { windowNames, windowOf } from '../../src/analysis/audio/windows.ts'
import { gaussian } from '../checks/audio-signals.ts'

const sampleHz = 48_000
type Line = readonly [hz: number, peak: number]

function record(count: number, lines: readonly Line[], sigma = 0, seed = 1): Float64Array {
  const z = gaussian(seed)
  return Float64Array.from({ length: count }, (_, i) =>
    lines.reduce((sum, [hz, peak], k) => sum + peak * Math.cos(2 * Math.PI * hz * i / sampleHz + k), 0) + (sigma > 0 ? sigma * z.next().value : 0))
}

/** The definition, term by term. */
function direct(samples: readonly number[]): { re: number[]; im: number[] } {
  const n = samples.length
  const sum = (k: number, part: (angle: number) => number): number =>
    samples.reduce((total, x, i) => total + x * part(2 * Math.PI * ((k * i) % n) / n), 0)
  const bins = Array.from({ length: Math.floor(n / 2) + 1 }, (_, k) => k)
  return { re: bins.map(k => sum(k, Math.cos)), im: bins.map(k => -sum(k, Math.sin)) }
}

describe('the transform', () => {
  it('is what its definition says, for any number of samples', () => {
    fc.assert(fc.property(fc.array(fc.double({ min: -1, max: 1, noNaN: true }), { minLength: 4, maxLength: 260 }), samples => {
      const [got, want] = [realTransform(samples), direct(samples)]
      expect(got.re.length).toBe(want.re.length)
      for (let k = 0; k < want.re.length; k++) {
        expect(Math.abs(got.re[k]! - want.re[k]!)).toBeLessThan(1e-11)
        expect(Math.abs(got.im[k]! - want.im[k]!)).toBeLessThan(1e-11)
      }
    }))
  })
  it('of a record that is no power of two keeps its digits', () => {
    const samples = record(48_000, [[997, 1], [5000, 1e-6]])
    const { re, im } = realTransform(samples)
    expect(2 * Math.hypot(re[997]!, im[997]!) / 48_000).toBeCloseTo(1, 12)
    expect(2 * Math.hypot(re[5000]!, im[5000]!) / 48_000 / 1e-6).toBeCloseTo(1, 6)
  })
  it('refuses fewer than 4 samples', () => { expect(() => realTransform([1, 2, 3])).toThrow(RangeError) })
})

describe('a spectrum', () => {
  it.each(windowNames)('through %s holds the mean square of noise', window => {
    const noise = record(8192, [], 0.3, 7)
    const spectrum = spectrumOf(noise, sampleHz, window)
    const sum = spectrum.power.reduce((total, one) => total + one, 0)
    expect(Math.abs(sum / spectrum.meanSquare - 1)).toBeLessThan(3 * Math.sqrt(2 * spectrum.together / noise.length))
  })
})

describe('a window in the frequency domain', () => {
  it.each(windowNames)('%s does what it does in time, for even and odd numbers of samples', window => {
    fc.assert(fc.property(fc.array(fc.double({ min: -1, max: 1, noNaN: true }), { minLength: 20, maxLength: 80 }), samples => {
      const mean = samples.reduce((sum, x) => sum + x, 0) / samples.length
      const weight = windowOf(window, samples.length)
      const { re, im } = direct(samples.map((x, i) => (x - mean) * weight[i]!))
      const squares = weight.reduce((sum, w) => sum + w * w, 0)
      const { power } = spectrumIn(transformed(samples, 1), window)
      power.forEach((got, k) => {
        const sides = k === 0 || 2 * k === samples.length ? 1 : 2
        expect(Math.abs(got - sides * (re[k]! ** 2 + im[k]! ** 2) / (samples.length * squares))).toBeLessThan(1e-12)
      })
    }), { numRuns: 30 })
  })
})

describe('a tone of any frequency', () => {
  it('has its level, its frequency and its harmonics told, whatever the clocks are', () => {
    fc.assert(fc.property(
      fc.double({ min: 300, max: 3500, noNaN: true }), fc.double({ min: -5, max: -1, noNaN: true }), fc.double({ min: 0.01, max: 100, noNaN: true }),
      (hz, power, peak) => {
        const [h2, h3] = [10 ** power, 0.5 * 10 ** power]
        const tone = analyseTone(record(32_768, [[hz, peak], [2 * hz, h2 * peak], [3 * hz, h3 * peak]]), sampleHz)
        expect(tone.frequencyHz.value / hz).toBeCloseTo(1, 5)
        expect(tone.rms.value * Math.SQRT2 / peak).toBeCloseTo(1, 5)
        expect(tone.thd.f.value / Math.hypot(h2, h3)).toBeCloseTo(1, 3)
      }), { numRuns: 40 })
  })
  it('with harmonics from 20 ppm beside whole periods is not taken to fill them', () => {
    const tone = analyseTone(record(65_536, [[1361 * sampleHz / 65_536 * 1.00002, 1]], 1e-5), sampleHz)
    expect(tone.window.name).toBe('hft144d')
    expect(20 * Math.log10(tone.thdN.f.value)).toBeLessThan(-96)
  })
  it('has intervals that hold what is true as often as they say', () => {
    let [thd, noise, level, frequency] = [0, 0, 0, 0]
    const rounds = 200
    const want = Math.sqrt(1e-3 ** 2 + 2 * (1e-3 ** 2) * (20_000 - 20) / 24_000)
    for (let seed = 1; seed <= rounds; seed++) {
      const tone = analyseTone(record(4096, [[1001.3, 1], [2002.6, 1e-3]], 1e-3, seed), sampleHz)
      const holds = ({ value, u }: { value: number; u: number }, truth: number): boolean => Math.abs(value - truth) <= 2 * u
      if (holds(tone.harmonics[0]!.rms, 1e-3 / Math.SQRT2)) thd++
      if (holds(tone.thdN.f, want)) noise++
      if (holds(tone.rms, Math.SQRT1_2)) level++
      if (holds(tone.frequencyHz, 1001.3)) frequency++
    }
    for (const share of [thd, noise, level, frequency].map(count => count / rounds)) {
      expect(share).toBeGreaterThan(0.89)
    }
  })
  it('says where a harmonic is no more than the noise around it', () => {
    const tone = analyseTone(record(16_384, [[1000, 1], [3000, 1e-3]], 1e-3), sampleHz)
    expect(tone.harmonics.find(({ order }) => order === 3)!.isAtFloor).toBe(false)
    expect(tone.harmonics.filter(({ isAtFloor }) => isAtFloor).length).toBeGreaterThan(5)
    expect(tone.thd.floor).toBeGreaterThan(1e-5)
  })
  it('is refused where there is none, or where the record cannot tell it', () => {
    expect(() => analyseTone(record(4096, [[15, 1]]), sampleHz)).toThrow(/outside the band/)
    expect(() => analyseTone(record(1024, [[100, 1]]), sampleHz)).toThrow(/too short/)
  })
})

describe('a fit', () => {
  it('tells frequency and level with their uncertainty', () => {
    let inside = 0
    for (let seed = 1; seed <= 200; seed++) {
      const fit = fitSine(record(2048, [[1234.5, 1]], 0.01, seed), sampleHz)
      const off = Math.abs(fit.frequencyHz.value - 1234.5) / fit.frequencyHz.u
      if (off <= 1.96) inside++
    }
    expect(inside / 200).toBeGreaterThan(0.9)
    expect(inside / 200).toBeLessThan(0.995)
  })
})

describe('two tones', () => {
  it('whose clock is 50 ppm off are still found, with their products', () => {
    const off = 1 + 5e-5
    const modulation = analyseModulation(record(48_000, [[60 * off, 4], [7000 * off, 1], [7060 * off, 0.005], [6940 * off, 0.005]], 1e-6), sampleHz)
    expect(modulation.pairSum.value).toBeCloseTo(0.01, 5)
    const difference = analyseDifference(record(48_000, [[19_000 * off, 1], [20_000 * off, 1], [1000 * off, 0.002]], 1e-6), sampleHz)
    expect(difference.second.ofSum.value).toBeCloseTo(0.001, 6)
  })
  it('that are not there are missed', () => {
    expect(() => analyseModulation(record(48_000, [[60, 1]], 1e-3), sampleHz)).toThrow(/no tone at 7000/)
    expect(() => analyseDifference(record(48_000, [], 1e-3), sampleHz)).toThrow(/no tone/)
  })
})

describe('noise', () => {
  it('has intervals that hold what is true as often as they say', () => {
    let inside = 0
    for (let seed = 1; seed <= 200; seed++) {
      const { rms } = analyseNoise(record(4096, [], 1e-3, seed), sampleHz)
      if (Math.abs(rms.flat.value - 1e-3 * Math.sqrt(19_980 / 24_000)) <= 2 * rms.flat.u) inside++
    }
    expect(inside / 200).toBeGreaterThan(0.9)
  })
  it('has its hum told by a mains frequency that is found', () => {
    const hum = humOf(transformed(record(48_000, [[49.93, 1e-3], [99.86, 2e-3], [299.58, 5e-4]], 1e-5), sampleHz), 50)!
    expect(hum.mainsHz).toBeCloseTo(49.93, 2)
    expect(hum.lines.find(({ order }) => order === 2)!.rms.value * Math.SQRT2).toBeCloseTo(2e-3, 6)
    expect(hum.rms.value * Math.SQRT2).toBeCloseTo(Math.hypot(1e-3, 2e-3, 5e-4), 6)
  })
  it('of a record too short to tell one line from the next has none told', () => {
    expect(humOf(transformed(record(4096, [[50, 1e-3]]), sampleHz), 50)).toBeNull()
  })
})
