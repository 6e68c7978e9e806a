/** Class figures of the simulated instruments that power, drive, load and hear a unit, written again. */
import type { Limits } from './accuracy.ts'
import type { Speeds } from './ranged-core.ts'

/** Limits from percent of reading and percent of range, as data sheets print them. */
const percent = (ofReading: number, ofRange: number): Limits => (
  { ofReading: ofReading / 100, ofRange: ofRange / 100 }
)

/** RMS volts of a multimeter: one filter, so one speed. */
export interface AcFigures extends Speeds {
  readonly ranges: readonly { readonly rangeV: number; readonly overRange: number; readonly limits: Limits }[]
}

export const acFigures = {
  'multimeter-6d-a': {
    ranges: [
      { rangeV: 0.1, overRange: 1.2, limits: percent(0.1, 0.04) },
      { rangeV: 1, overRange: 1.2, limits: percent(0.09, 0.03) },
      { rangeV: 10, overRange: 1.2, limits: percent(0.09, 0.03) },
      { rangeV: 100, overRange: 1.2, limits: percent(0.09, 0.03) },
      { rangeV: 700, overRange: 1, limits: percent(0.12, 0.03) },
    ],
    // At 50 Hz: 10 cycles and the settling of the filter.
    speeds: [[10, 1e-6]], overheadMs: 300, conversions: 1,
  },
} as const satisfies Record<string, AcFigures>

export interface PowerRange {
  readonly size: number; readonly overRange: number; readonly step: number; readonly noise: number
  readonly limits: Limits
}
export interface PowerFigures {
  readonly volts: readonly PowerRange[]
  readonly amps: readonly PowerRange[]
  /** Shares of volts range times amperes range. */
  readonly power: { readonly limits: Limits; readonly step: number; readonly noise: number }
  readonly hertz: {
    readonly ofReading: number; readonly step: number; readonly min: number; readonly max: number
  }
  readonly readingMs: number
}

const range = (overRange: number) =>
  (size: number, step: number, noise: number, limits: Limits): PowerRange =>
    ({ size, overRange, step, noise, limits })
const pa = range(1.3)
const pb = range(1.05)

export const powerFigures = {
  'power-meter-a': {
    volts: [
      pa(60, 1e-3, 3e-3, percent(0.05, 0.05)), pa(150, 1e-3, 6e-3, percent(0.05, 0.05)),
      pa(300, 1e-3, 0.01, percent(0.05, 0.05)), pa(600, 0.01, 0.02, percent(0.05, 0.05)),
    ],
    amps: [
      pa(0.02, 1e-7, 1e-6, percent(0.05, 0.1)), pa(0.2, 1e-6, 1e-5, percent(0.05, 0.05)),
      pa(2, 1e-5, 1e-4, percent(0.05, 0.05)), pa(20, 1e-4, 1e-3, percent(0.1, 0.1)),
    ],
    power: { limits: percent(0.08, 0.05), step: 1e-6, noise: 2e-5 },
    hertz: { ofReading: 1e-4, step: 0.001, min: 20, max: 500 }, readingMs: 100,
  },
  'power-meter-b': {
    volts: [pb(150, 0.01, 0.03, percent(0.2, 0.1)), pb(300, 0.01, 0.05, percent(0.2, 0.1))],
    amps: [
      pb(0.1, 1e-5, 3e-5, percent(0.2, 0.2)), pb(1, 1e-4, 3e-4, percent(0.2, 0.1)),
      pb(10, 1e-3, 3e-3, percent(0.3, 0.2)),
    ],
    power: { limits: percent(0.3, 0.2), step: 1e-4, noise: 2e-4 },
    hertz: { ofReading: 1e-3, step: 0.01, min: 40, max: 70 }, readingMs: 400,
  },
} as const satisfies Record<string, PowerFigures>

export interface SignalFigures {
  readonly channels: number
  readonly sourceOhm: number
  readonly hertz: { readonly min: number; readonly max: number; readonly step: number }
  /** Volts RMS into an open end; the step is in the volts that its commands count. */
  readonly level: {
    readonly min: number; readonly max: number; readonly step: number; readonly limits: Limits
  }
  /** How many of the volts that its commands count make one volt RMS. */
  readonly perRms: number
  readonly distortion: number
  readonly noiseVPerRootHz: number
  readonly clockPpm: number
  readonly settleMs: number
}

export const signalFigures = {
  'signal-generator-a': {
    channels: 2, sourceOhm: 25, hertz: { min: 1, max: 200e3, step: 1e-3 }, perRms: 1,
    level: { min: 0, max: 10, step: 1e-5, limits: percent(0.2, 0.0005) },
    distortion: 5e-6, noiseVPerRootHz: 1e-8, clockPpm: 2, settleMs: 20,
  },
  'signal-generator-b': {
    channels: 2, sourceOhm: 600, hertz: { min: 0.01, max: 1e6, step: 0.01 }, perRms: 2 * Math.SQRT2,
    level: { min: 0.0071, max: 7, step: 1e-3, limits: percent(1, 0.02) },
    distortion: 5e-4, noiseVPerRootHz: 1e-7, clockPpm: 50, settleMs: 50,
  },
} as const satisfies Record<string, SignalFigures>

export interface InputRange {
  readonly rangeV: number; readonly limits: Limits; readonly noiseVPerRootHz: number
}
export interface RecorderFigures {
  readonly channels: number
  readonly bits: number
  /** The return of each input is tied to earth. */
  readonly earthed: boolean
  readonly inputOhm: number
  readonly ranges: readonly InputRange[]
  readonly ratesHz: readonly number[]
  readonly samplesMost: number
  /** RMS of harmonics at the full range. */
  readonly distortion: number
  readonly clockPpm: number
  readonly armMs: number
}

const input = (rangeV: number, noiseVPerRootHz: number, limits: Limits): InputRange =>
  ({ rangeV, noiseVPerRootHz, limits })

export const recorderFigures = {
  'digitizer-a': {
    channels: 2, bits: 24, earthed: false, inputOhm: 200e3, samplesMost: 1 << 20,
    ranges: [
      input(0.3, 8e-9, percent(0.1, 0.01)), input(1, 1.2e-8, percent(0.1, 0.005)),
      input(3, 3e-8, percent(0.1, 0.005)), input(10, 1e-7, percent(0.1, 0.005)),
      input(30, 3e-7, percent(0.1, 0.005)), input(100, 1e-6, percent(0.15, 0.005)),
    ],
    ratesHz: [8e3, 48e3, 96e3, 192e3], distortion: 5e-6, clockPpm: 3, armMs: 10,
  },
  'digitizer-b': {
    channels: 4, bits: 16, earthed: true, inputOhm: 1e6, samplesMost: 1 << 16,
    ranges: [
      input(0.1, 1e-7, percent(0.5, 0.1)), input(1, 3e-7, percent(0.5, 0.1)),
      input(10, 2e-6, percent(0.5, 0.1)), input(50, 1e-5, percent(0.5, 0.1)),
    ],
    ratesHz: [10e3, 50e3, 100e3, 200e3, 1e6], distortion: 3e-4, clockPpm: 25, armMs: 20,
  },
} as const satisfies Record<string, RecorderFigures>

export const contactorFigures = {
  holdMs: 3000, closeMs: 40, openMs: 25,
  /** From the most limited to the full one. */
  ways: {
    SER: { seriesOhm: 100, share: 1 }, LOW: { seriesOhm: 2, share: 0.5 }, FULL: { seriesOhm: 0, share: 1 },
  },
} as const

export const loadFigures = {
  channels: 2, steps: [4, 8, 15, 16, 250], ofValue: 0.01, settleMs: 30,
} as const
