/** Class figures of the simulated source-measure units: those of their profiles, written again. */
import type { Limits } from './accuracy.ts'

export interface SourceRange {
  readonly size: number; readonly overRange: number
  readonly step: number; readonly readStep: number; readonly noise: number
  readonly set: Limits; readonly read: Limits
}

export interface SourceFigures {
  readonly voltage: readonly SourceRange[]
  readonly current: readonly SourceRange[]
  readonly limitMinV: number; readonly limitMinA: number
  readonly integrations: readonly number[]
  /** Integration at which the noise figures hold. */
  readonly noiseNplc: number
  readonly overheadMs: number
  /** Most volts while the contact on its interlock input is open. */
  readonly interlockOpenV?: number
}

type Pair = readonly [ofReadingPct: number, ofRangePct: number]

const percent = ([reading, range]: Pair): Limits => ({ ofReading: reading / 100, ofRange: range / 100 })

type Steps = readonly [step: number, readStep: number, noise: number]

const ranges = (overRange: number) =>
  (size: number, [step, readStep, noise]: Steps, set: Pair, read: Pair): SourceRange =>
    ({ size, overRange, step, readStep, noise, set: percent(set), read: percent(read) })
const a = ranges(1.05)
const b = ranges(1.02)

export const sourceFigures = {
  'source-measure-a': {
    voltage: [
      a(0.2, [5e-6, 1e-6, 2e-6], [0.02, 0.2], [0.012, 0.15]),
      a(2, [5e-5, 1e-5, 2e-5], [0.02, 0.03], [0.012, 0.015]),
      a(20, [5e-4, 1e-4, 2e-4], [0.02, 0.012], [0.015, 0.0075]),
    ],
    current: [
      a(1e-7, [5e-12, 1e-12, 4e-12], [0.06, 0.15], [0.06, 0.1]),
      a(1e-6, [5e-11, 1e-11, 2e-11], [0.035, 0.06], [0.03, 0.04]),
      a(1e-5, [5e-10, 1e-10, 2e-10], [0.033, 0.02], [0.027, 0.01]),
      a(1e-4, [5e-9, 1e-9, 2e-9], [0.031, 0.02], [0.025, 0.006]),
      a(1e-3, [5e-8, 1e-8, 2e-8], [0.034, 0.02], [0.027, 0.006]),
      a(0.01, [5e-7, 1e-7, 2e-7], [0.045, 0.02], [0.035, 0.006]),
      a(0.1, [5e-6, 1e-6, 2e-6], [0.066, 0.02], [0.055, 0.006]),
    ],
    limitMinV: 0.001, limitMinA: 1e-9, integrations: [0.01, 0.1, 1, 10], noiseNplc: 1, overheadMs: 2,
  },
  'source-measure-b': {
    voltage: [
      b(6, [1e-3, 1e-4, 2e-4], [0.03, 0.03], [0.02, 0.02]),
      b(60, [0.01, 1e-3, 2e-3], [0.03, 0.03], [0.02, 0.02]),
    ],
    current: [
      b(1e-4, [1e-8, 1e-9, 2e-9], [0.05, 0.05], [0.04, 0.03]),
      b(0.01, [1e-6, 1e-7, 2e-7], [0.05, 0.03], [0.04, 0.02]),
      b(1, [1e-4, 1e-5, 2e-5], [0.1, 0.03], [0.08, 0.03]),
    ],
    limitMinV: 0.02, limitMinA: 1e-7, integrations: [0.1, 1, 10], noiseNplc: 1, overheadMs: 10,
  },
  'source-measure-c': {
    voltage: [
      a(20, [5.0e-4, 1.0e-4, 3.0e-4], [0.02, 0.02], [0.015, 0.01]),
      a(200, [0.005, 0.001, 0.003], [0.02, 0.02], [0.015, 0.01]),
      a(600, [0.05, 0.01, 0.02], [0.03, 0.02], [0.02, 0.01]),
    ],
    current: [
      a(1e-7, [5e-12, 1e-12, 6e-12], [0.06, 0.15], [0.06, 0.1]),
      a(1e-6, [5e-11, 1e-11, 3e-11], [0.035, 0.06], [0.03, 0.04]),
      a(1e-5, [5e-10, 1e-10, 3e-10], [0.033, 0.02], [0.027, 0.01]),
      a(1e-4, [5e-9, 1e-9, 3e-9], [0.031, 0.02], [0.025, 0.006]),
      a(1e-3, [5e-8, 1e-8, 3e-8], [0.034, 0.02], [0.027, 0.006]),
      a(0.02, [1e-6, 2e-7, 5e-7], [0.045, 0.02], [0.035, 0.006]),
    ],
    limitMinV: 0.02, limitMinA: 1e-9, integrations: [0.01, 0.1, 1, 10], noiseNplc: 1, overheadMs: 2,
    interlockOpenV: 42,
  },
} as const satisfies Record<string, SourceFigures>
