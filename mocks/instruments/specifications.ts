/**
 * Class figures of the simulated instruments: the same that their profiles state, written again here because
 * a specimen must be drawn from its specification and mocks read no profiles. A test compares the two.
 */
import type { Limits } from './accuracy.ts'
import type { Speeds } from './ranged-core.ts'
import type { SupplyRatings } from './supply-core.ts'

/** Limits from percent of reading and percent of range, as data sheets print them. */
const percent = (ofReading: number, ofRange: number): Limits => (
  { ofReading: ofReading / 100, ofRange: ofRange / 100 }
)

export const supplyRatings = {
  'dc-supply-600v-a': {
    voltageMaxV: 600, currentMaxA: 0.85, voltageStepV: 0.02, currentStepA: 1e-4,
    overVoltageMinV: 5, overVoltageMaxV: 660, overVoltageStepV: 0.1,
    overCurrentMaxA: 0.9, overCurrentStepA: 1e-3,
    setVoltage: percent(0.05, 0.03), setCurrent: percent(0.1, 0.1),
    readVoltage: percent(0.05, 0.03), readCurrent: percent(0.1, 0.1),
    noiseV: 0.01, noiseA: 5e-5, readStepV: 0.01, readStepA: 1e-4,
  },
  'dc-supply-500v-b': {
    voltageMaxV: 500, currentMaxA: 0.4, voltageStepV: 0.01, currentStepA: 1e-4,
    overVoltageMinV: 1, overVoltageMaxV: 550, overVoltageStepV: 0.1,
    overCurrentMaxA: 0.44, overCurrentStepA: 1e-3,
    setVoltage: percent(0.05, 0.02), setCurrent: percent(0.2, 0.1),
    readVoltage: percent(0.05, 0.02), readCurrent: percent(0.2, 0.1),
    noiseV: 0.01, noiseA: 5e-5, readStepV: 0.01, readStepA: 1e-4,
  },
  'dc-supply-60v-c': {
    voltageMaxV: 60, currentMaxA: 1, voltageStepV: 0.01, currentStepA: 1e-4,
    overVoltageMinV: 1, overVoltageMaxV: 66, overVoltageStepV: 0.1,
    overCurrentMaxA: 1.1, overCurrentStepA: 1e-3,
    setVoltage: percent(0.05, 0.02), setCurrent: percent(0.2, 0.1),
    readVoltage: percent(0.05, 0.02), readCurrent: percent(0.2, 0.1),
    noiseV: 0.002, noiseA: 5e-5, readStepV: 0.01, readStepA: 1e-4,
  },
} as const satisfies Record<string, SupplyRatings>

/** Capacitance across the output terminals, F. */
export const supplyOutputF = {
  'dc-supply-600v-a': 10e-6, 'dc-supply-500v-b': 4.7e-6, 'dc-supply-60v-c': 220e-6,
} as const

export interface MeterRange { readonly rangeV: number; readonly overRange: number; readonly limits: Limits }
export interface MeterFigures extends Speeds {
  readonly ranges: readonly MeterRange[]
  readonly inputOhm: number
}

export const meterFigures = {
  'multimeter-6d-a': {
    ranges: [
      { rangeV: 0.1, overRange: 1.2, limits: percent(0.005, 0.004) },
      { rangeV: 1, overRange: 1.2, limits: percent(0.004, 0.0008) },
      { rangeV: 10, overRange: 1.2, limits: percent(0.0035, 0.0006) },
      { rangeV: 100, overRange: 1.2, limits: percent(0.0045, 0.0008) },
      { rangeV: 1000, overRange: 1, limits: percent(0.0045, 0.001) },
    ],
    speeds: [[0.02, 1e-4], [0.2, 1e-5], [1, 3e-6], [10, 1e-6], [100, 3e-7]],
    overheadMs: 3, conversions: 2, inputOhm: 10e6,
  },
  'multimeter-5d-b': {
    ranges: [
      { rangeV: 0.3, overRange: 1.05, limits: percent(0.02, 0.004) },
      { rangeV: 3, overRange: 1.05, limits: percent(0.02, 0.002) },
      { rangeV: 30, overRange: 1.05, limits: percent(0.02, 0.002) },
      { rangeV: 300, overRange: 1.05, limits: percent(0.025, 0.002) },
      { rangeV: 1000, overRange: 1.05, limits: percent(0.025, 0.002) },
    ],
    speeds: [[0.1, 1e-4], [1, 1e-5], [10, 3e-6]],
    overheadMs: 15, conversions: 1, inputOhm: 10e6,
  },
} as const satisfies Record<string, MeterFigures>

export interface OhmRange {
  readonly rangeOhm: number; readonly testCurrentA: number; readonly openV: number
  readonly overRange: number; readonly limits: Limits
}
/** Speeds and times are those of the meter. */
export interface OhmFigures { readonly ranges: readonly OhmRange[] }

const ohms = (
  rangeOhm: number, testCurrentA: number, openV: number, overRange: number, limits: Limits,
): OhmRange => ({ rangeOhm, testCurrentA, openV, overRange, limits })

export const ohmFigures = {
  'multimeter-6d-a': {
    ranges: [
      ohms(100, 1e-3, 8, 1.2, percent(0.01, 0.004)), ohms(1e3, 1e-3, 8, 1.2, percent(0.01, 0.001)),
      ohms(10e3, 1e-4, 8, 1.2, percent(0.01, 0.001)), ohms(100e3, 1e-5, 8, 1.2, percent(0.01, 0.001)),
      ohms(1e6, 5e-6, 10, 1.2, percent(0.01, 0.001)), ohms(10e6, 5e-7, 10, 1.2, percent(0.04, 0.001)),
      ohms(100e6, 5e-8, 10, 1.2, percent(0.8, 0.01)),
    ],
  },
  'multimeter-5d-b': {
    ranges: [
      ohms(300, 5e-4, 3.2, 1.05, percent(0.05, 0.01)), ohms(3e3, 5e-4, 3.2, 1.05, percent(0.05, 0.003)),
      ohms(30e3, 5e-5, 3.2, 1.05, percent(0.05, 0.003)), ohms(300e3, 5e-6, 3.2, 1.05, percent(0.05, 0.003)),
      ohms(3e6, 5e-7, 3.2, 1.05, percent(0.08, 0.003)), ohms(30e6, 5e-8, 3.2, 1.05, percent(0.3, 0.01)),
    ],
  },
} as const satisfies Record<string, OhmFigures>

/** Accuracy as a fraction of |Z|: basic·(1 + zs/|Z| + |Z|·yo); and the time of one measurement. */
export const bridgeFigures = {
  'lcr-bridge-a': { basic: 0.001, zsOhm: 0.1, yoS: 1e-6, measureMs: 500 },
  'lcr-bridge-b': { basic: 0.003, zsOhm: 1, yoS: 1e-5, measureMs: 400 },
} as const

export const thermometerFigures = {
  ofReading: 0.001, offsetK: 0.3, stepK: 0.01, noiseK: 0.02, readMs: 100,
} as const
export const scannerFigures = {
  'scanner-a': { settleMs: 4, channels: (channel: number): boolean => isOnCard(channel) },
  'scanner-b': { settleMs: 10, channels: (channel: number): boolean => channel >= 1 && channel <= 40 },
} as const
export const relayFigures = { relayMax: 512, perCommandMax: 24, settleMs: 10 } as const
export const holdInFigures = { holdMs: 4000, closeMs: 40, openMs: 20 } as const

function isOnCard(channel: number): boolean {
  const card = Math.floor(channel / 100)
  const line = channel % 100
  return card >= 1 && card <= 12 && line >= 1 && line <= 40
}
