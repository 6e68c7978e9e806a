/** True figures of simulated units: against closed forms, and against what a record of the unit shows. */
import { describe, expect, it } from 'vitest'
import { UnitFigures } from '../../../mocks/units/figures.ts'
import { makeUnit } from '../../../mocks/units/make-unit.ts'
import { differenceOf, modulationOf, transientOf } from '../../../mocks/units/pairs.ts'
import { root } from '../../../mocks/units/root.ts'
import type { UnitTruth } from '../../../mocks/units/truth.ts'
import { weightingAt } from '../../../mocks/units/weighting.ts'
import { analyseDifference, analyseModulation } from '../../../src/analysis/audio/intermodulation.ts'
import { analyseNoise } from '../../../src/analysis/audio/noise.ts'
import { analyseTone } from '../../../src/analysis/audio/tone.ts'
import { peakAt, running, sine, truthWith } from './rig.ts'

const dB = (ratio: number): number => 20 * Math.log10(ratio)
const near = (got: number, want: number, share: number): void => {
  expect(Math.abs(got / want - 1), `${got} for ${want}`).toBeLessThan(share)
}

describe('true figures of a unit made by hand', () => {
  it('give power at a limit of distortion as a hard clip does', () => {
    // audio-burnin-safety.md section 3: 0.034, 0.202 and 1.098 dB over the onset, which is 40²/16 W.
    const figures = new UnitFigures(truthWith())
    for (const [limit, overDb] of [[0.001, 0.033831], [0.01, 0.202], [0.1, 1.09836]] as const) {
      const { watts } = figures.powerAt(0, limit)!
      expect(10 * Math.log10(watts / 100)).toBeCloseTo(overDb, 2)
    }
    expect(figures.powerAt(0, 0.6)).toBe(null)
  })
  it('give gain, sensitivity, damping and corners as their closed forms do', () => {
    const stages = [{ gain: 20, lowHz: 5, highHz: 60_000, square: 0, cube: 0 }]
    const truth = truthWith({ channel: { stages }, output: { sourceOhm: 0.08 } })
    const figures = new UnitFigures(truth)
    // F01 of response-power-cases.json.
    const { fromHz, toHz } = figures.corners(0)
    expect(fromHz).toBeCloseTo(5.01037, 4)
    near(toHz, 59_875.9, 1e-5)
    expect(figures.responseDb(0, 20)).toBeCloseTo(-0.261975, 5)
    const passed = 1 / Math.hypot(1, 5 / 1000) / Math.hypot(1, 1 / 60)
    expect(figures.gainDb({ channel: 0, hz: 1000, emfV: 0.5 })).toBeCloseTo(dB(20 * 8 / 8.08 * passed), 6)
    expect(figures.sensitivityV(0, 50)!).toBeCloseTo(8.08 / 8 / passed, 5)
    expect(figures.sensitivityV(0, 500)).toBe(null)
    for (const otherOhm of [null, 4, 16]) expect(figures.dampingFactor(0, 1000, 0.5, otherOhm)).toBeCloseTo(100, 2)
  })
  it('give an error of equalisation as response-power-cases.json P02 and P04 do', () => {
    const equalisation = { slowS: 3.339e-3, middleS: 318e-6, fastS: 75e-6, rumbleS: null }
    const figures = new UnitFigures(truthWith({ channel: { equalisation } }))
    expect(figures.equalisationErrorDb(0, 20, 'riaa')).toBeCloseTo(0.36191, 4)
    expect(figures.equalisationErrorDb(0, 20_000, 'riaa')).toBeCloseTo(-0.00101, 4)
    const withRumble = { slowS: 3.18e-3, middleS: 318e-6, fastS: 75e-6, rumbleS: 7.95e-3 }
    const other = new UnitFigures(truthWith({ channel: { equalisation: withRumble } }))
    expect(other.equalisationErrorDb(0, 20, 'riaa')).toBeCloseTo(-3.01279, 4)
    expect(other.equalisationErrorDb(0, 20, 'iec')).toBeCloseTo(0, 4)
  })
  it('give weighted noise of a white input as audio-burnin-check-values.json C17 does', () => {
    const noise = { inputVRootHz: 10e-9, cornerHz: 0, outputVRootHz: 0 }
    const figures = new UnitFigures(truthWith({ channel: { noise } }))
    const flat = figures.noiseV(0, 'flat')
    expect(flat).toBeCloseTo(20 * 10e-9 * Math.sqrt(19_980), 11)
    for (const [name, db] of [['A', -2.04827], ['C', -3.4505], ['468', 7.30144]] as const) {
      expect(dB(figures.noiseV(0, name) / flat)).toBeCloseTo(db, 3)
    }
    // C01, C05, C11, C13: single points of the curves.
    expect(dB(weightingAt('A', 1000 * 10 ** 0.4))).toBeCloseTo(1.270698, 4)
    expect(dB(weightingAt('468', 2000))).toBeCloseTo(5.62921, 4)
  })
  it('give intermodulation of a square and a cube by each usual sum', () => {
    const [a, b] = [2e-4, -1e-5]
    const stages = [{ gain: 20, lowHz: 0, highHz: 1e9, square: a, cube: b }]
    const figures = new UnitFigures(truthWith({ channel: { stages } }))
    const [low, high] = [0.8, 0.2].map(share => share * 0.35 * Math.SQRT2 * 20)
    const tone = high! + b * (0.75 * high! ** 3 + 1.5 * low! ** 2 * high!)
    const [second, third] = [a * low! * high!, 0.75 * b * low! ** 2 * high!]
    const { pairs, squares } = modulationOf(figures, 0, 0.35)
    near(pairs, 2 * Math.hypot(second, third) / tone, 1e-8)
    near(squares, Math.SQRT2 * Math.hypot(second, third) / tone, 1e-8)
    const each = 0.5 * 0.35 * Math.SQRT2 * 20
    const sum = 2 * (each + b * 2.25 * each ** 3)
    const found = differenceOf(figures, 0, 0.35)
    near(found.second, a * each ** 2 / sum, 1e-8)
    near(found.third, 2 * 0.75 * Math.abs(b) * each ** 3 / sum, 1e-8)
    // Sine and square of 2 V, its fifth of 0.4 V: two products of second order; of third order one of two tones,
    // two of three.
    const tones = [sine(15_000, 0.1), sine(3150, 0.1), sine(15_750, 0.02)]
    const products = [a * 2 * 2, a * 2 * 0.4, 0.75 * b * 4 * 2, 1.5 * b * 2 * 2 * 0.4, 1.5 * b * 2 * 2 * 0.4]
    near(transientOf(figures, 0, tones), Math.hypot(...products) / 2, 1e-3)
  })
  it('give separation, DC and recovery as their closed forms do', () => {
    const truth = truthWith({
      channel: {
        crosstalk: { share: 1e-3, cornerHz: 2000, railShare: 0 },
        offset: { at25V: 0.01, perK: 1e-3, leakV: 0, leakDoublesK: 10 },
        blocking: { depth: 0.3, chargeS: 0.01, recoverS: 0.05 },
      },
    })
    const figures = new UnitFigures(truth, { celsius: [45, 22, 22, 22] })
    expect(figures.separationDb(0, 1000)).toBeCloseTo(60 - dB(Math.hypot(1, 0.5)), 9)
    expect(figures.dcOffsetV(0)).toBeCloseTo(0.03, 6)
    expect(figures.recoveryS({ channel: 0, hz: 1000, emfV: 10 }, 1, 0.01)).toBeCloseTo(0.05 * Math.log(30), 4)
    expect(figures.recoveryS({ channel: 0, hz: 1000, emfV: 0.5 }, 1, 0.01)).toBe(0)
  })
  it('give power bandwidth where half of the watts fall out of the limit', () => {
    const transformer = { magnetisingH: 10, leakageH: 0, fluxVs: 20 * Math.SQRT2 / (2 * Math.PI * 60), hardness: 8 }
    const truth = truthWith({ output: { sourceOhm: 0.1, transformer }, power: { slewVPerS: 2 * Math.PI * 30e3 * 20 } })
    const { fromHz, toHz } = new UnitFigures(truth).powerBandwidth(0, 50, 0.01)!
    expect(fromHz).toBeGreaterThan(35)
    expect(fromHz).toBeLessThan(75)
    expect(toHz).toBeGreaterThan(8000)
    expect(toHz).toBeLessThan(45e3)
    expect(new UnitFigures(truth).powerBandwidth(0, 500, 0.01)).toBe(null)
  })
  it('find roots to twelve digits', () => {
    expect(root(x => x ** 3 - 2, 0, 3)).toBeCloseTo(2 ** (1 / 3), 11)
    expect(root(Math.cos, 3, 0)).toBeCloseTo(Math.PI / 2, 11)
  })
})

describe('true figures and a record of the same unit, analysed by the program', () => {
  const sampleHz = 131_072
  const samples = 131_072
  const kinds = ['solid-state', 'capacitor-coupled', 'public-address', 'valve'] as const

  /** The unit on, with rated loads, and as quiet as it never is: noise and hum would hide what is compared. */
  function quiet(kind: (typeof kinds)[number], seed: number): UnitTruth {
    const { truth } = makeUnit(kind, seed)
    const still = structuredClone(truth)
    for (const channel of still.channels) {
      channel.noise = { inputVRootHz: 0, cornerHz: 0, outputVRootHz: 0 }
      channel.hum = { lines: [], ripple: 0, openV: 0 }
    }
    return still
  }

  it.each(kinds)('agree on tone, distortion and intermodulation of a %s unit', kind => {
    const truth = quiet(kind, 11)
    const unit = running(truth)
    const ohm = truth.channels[0]!.output.ratedOhm
    unit.channels.forEach((_, i) => { unit.setLoad(i, ohm) })
    const figures = new UnitFigures(truth, { celsius: unit.thermal.celsius })
    const emfV = figures.emfFor(0, 1000, Math.sqrt(truth.channels[0]!.output.ratedW / 2 * ohm))!
    const heard = (tones: readonly (readonly [number, number])[]): Float64Array => {
      unit.drive(0, tones.map(([hz, rms]) => sine(hz, Math.SQRT2 * rms)), 0)
      unit.settleRails()
      return unit.output(0, sampleHz, samples)
    }
    for (const over of [0.1, 1, 1.6]) {
      const tone = analyseTone(heard([[1000, over * emfV]]), sampleHz, { harmonicsMost: 20 })
      const truly = figures.tone({ channel: 0, hz: 1000, emfV: over * emfV })
      near(tone.rms.value, truly.fundamentalV, 1e-4)
      near(tone.thd.f.value, figures.distortion({ channel: 0, hz: 1000, emfV: over * emfV }, { orders: 20 }), 2e-3)
    }
    const modulation = analyseModulation(heard([[60, 0.8 * emfV], [7000, 0.2 * emfV]]), sampleHz)
    const difference = analyseDifference(heard([[19_000, 0.5 * emfV], [20_000, 0.5 * emfV]]), sampleHz)
    near(modulation.pairSum.value, modulationOf(figures, 0, emfV).pairs, 2e-3)
    near(difference.both.ofSum.value, differenceOf(figures, 0, emfV).both, 2e-3)
  })

  it('agree on noise by each weighting and on hum, over many records', () => {
    const made = makeUnit('solid-state', 12)
    const unit = running(made.truth)
    const figures = new UnitFigures(made.truth, { celsius: unit.thermal.celsius })
    const sums = { flat: 0, A: 0, '468': 0, hum: 0 }
    const turns = 12
    for (let i = 0; i < turns; i++) {
      unit.advance(2)
      const { rms, hum } = analyseNoise(unit.output(0, sampleHz, samples), sampleHz, { mainsHz: 50 })
      sums.flat += rms.flat.value ** 2 / turns
      sums.A += rms.A.value ** 2 / turns
      sums['468'] += rms.itu468.value ** 2 / turns
      sums.hum += hum!.rms.value ** 2 / turns
    }
    const band = { fromHz: 20, toHz: 20_000 }
    for (const name of ['flat', 'A', '468'] as const) near(Math.sqrt(sums[name]), figures.noiseV(0, name, band, true), 0.02)
    near(Math.sqrt(sums.hum), figures.humV(0), 0.05)
  })

  it('agree on separation', () => {
    const made = makeUnit('solid-state', 13)
    const unit = running(made.truth)
    unit.drive(0, [sine(1000, 0.5)], 0)
    const ratio = peakAt(unit.output(1, sampleHz, samples), 1000) / peakAt(unit.output(0, sampleHz, samples), 1000)
    expect(-dB(ratio)).toBeCloseTo(new UnitFigures(made.truth).separationDb(1, 1000), 1)
  })
})
