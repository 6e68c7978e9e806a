/**
 * Draws the hidden truth of a part of a given kind. Ranges are ours (docs/simulated-bench.md gives the
 * table); the same kind, rating and seed always give the same part.
 */
import { assert } from '../../src/base/assert.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { ElectrolyticPart } from './part.ts'
import { areaOf } from './truth.ts'
import type { AbsorptionBranch, PartEvent, PartTruth, Rated } from './truth.ts'

export const partKinds = [
  'healthy', 'stale', 'very-stale', 'hopeless-leaky', 'dried-out', 'shorting', 'scintillating', 'overheating',
  'opening', 'bad-contact', 'reversed',
] as const
export type PartKind = (typeof partKinds)[number]

export interface MakeOptions {
  ambientC?: number
  /** How far gone a stale part is: 0 hardly, 1 just recoverable in one night. Drawn when absent. */
  depth?: number
  /** Where and when a fault strikes: fraction of rated volts, and seconds spent there. Drawn when absent. */
  atFraction?: number
  afterS?: number
  /** Shunt that a shorting part falls to, ohm. */
  toOhm?: number
  /** When a bad contact opens, s of simulated time; with `intermittent`, it then comes and goes. */
  contactAtS?: number
  intermittent?: boolean
  /** Anything else the maker of a test wants to fix. */
  truth?: Partial<PartTruth>
}

/** A part of `kind` with everything hidden drawn from `seed`. */
export function makePart(
  kind: PartKind, rated: Rated, seed: number | string, options: MakeOptions = {},
): ElectrolyticPart {
  assert(rated.voltageV > 0 && rated.capacitanceF > 0, 'a part needs a rating')
  const random = new SeededRandom(seed).fork(kind)
  const truth = { ...soundTruth(rated, random), ...special(kind, rated, random, options), ...options.truth }
  return new ElectrolyticPart(kind, rated, truth, seed, options.ambientC ?? 20)
}

/** Loss tangent limit of a new part at 120 Hz; usual catalogue values, from memory. */
export function lossLimit(rated: Rated): number {
  const steps = [
    [6.3, 0.28], [10, 0.24], [16, 0.2], [25, 0.16], [35, 0.14], [50, 0.12], [63, 0.1], [100, 0.08],
    [250, 0.2],
  ] as const
  const base = steps.find(([v]) => rated.voltageV <= v)?.[1] ?? 0.22
  return base + 0.02 * Math.max(0, rated.capacitanceF / 1e-3 - 1)
}

const seriesOhmLimit = (rated: Rated): number => lossLimit(rated) / (2 * Math.PI * 120 * rated.capacitanceF)

function soundTruth(rated: Rated, random: SeededRandom): PartTruth {
  const capacitanceF = rated.capacitanceF * random.uniform(0.92, 1.12)
  const oxideLoss = random.uniform(0.02, 0.04)
  const lossOhm = oxideLoss / (2 * Math.PI * 120 * capacitanceF)
  const can = canOf(rated)
  return {
    capacitanceF, areaCm2: areaOf(rated), oxideLoss,
    formingV: rated.voltageV * random.uniform(1.2, 1.35),
    weakFraction: random.uniform(2e-4, 4.5e-4), growthEfficiency: random.uniform(0.7, 0.9),
    dissolutionS: random.uniform(8, 15) * 365 * 86400, bulkPerS: 2e-4 * random.uniform(0.5, 1.5),
    shuntOhm: Infinity,
    electrolyteOhm: Math.max(0.05 * lossOhm, seriesOhmLimit(rated) * random.uniform(0.35, 0.8) - lossOhm),
    electrolyteSlopeK: random.uniform(1500, 3000), deformedExcess: random.uniform(0.05, 0.15),
    branches: drawBranches(capacitanceF, random), ...can, reversed: false, events: [],
  }
}

/** Four branches, taus spread over 1 s to 1e5 s, 10 to 15 % of the capacitance in all. */
function drawBranches(capacitanceF: number, random: SeededRandom): AbsorptionBranch[] {
  const weights = [0, 1, 2, 3].map(() => random.uniform(0.7, 1.3))
  const sum = weights.reduce((a, b) => a + b, 0)
  const total = capacitanceF * random.uniform(0.1, 0.15)
  return weights.map((w, k) => ({
    capacitanceF: total * w / sum, timeConstantS: [2, 60, 1800, 5e4][k]! * random.uniform(0.5, 2),
  }))
}

/**
 * Heat: can volume from stored energy, with what seal, leads and margins add to a small one; surface from
 * volume, at 10 W/(m²K). The volumes lie within a third of those of usual radial cans (sizes from memory).
 */
function canOf(rated: Rated): { thermalResistanceKW: number; thermalCapacityJK: number } {
  const cm3 = 0.8 + 1.2 * rated.capacitanceF * rated.voltageV ** 2 / 2
  return { thermalResistanceKW: 34 * (cm3 / 11.4) ** (-2 / 3), thermalCapacityJK: 1.6 * cm3 }
}

function special(
  kind: PartKind, rated: Rated, random: SeededRandom, options: MakeOptions,
): Partial<PartTruth> {
  const atFraction = options.atFraction ?? random.uniform(0.4, 0.9)
  const afterS = options.afterS ?? random.uniform(30, 600)
  const event = (e: PartEvent): Partial<PartTruth> => ({ events: [e] })
  switch (kind) {
    case 'healthy': return {}
    case 'stale': return stale(rated, random, options.depth ?? random.next())
    case 'very-stale': return gone(rated, random, [0.004, 0.006], [0.5, 0.7], [0.18, 0.25])
    case 'hopeless-leaky': return gone(rated, random, [0.015, 0.03], [0.01, 0.04], [0.12, 0.22])
    case 'dried-out': return driedOut(rated, random)
    case 'shorting': {
      const toOhm = options.toOhm ?? 10 ** random.uniform(1.3, 4)
      return event({ kind: 'short', atFraction, afterS, toOhm, fallS: random.uniform(2e-3, 8e-3) })
    }
    case 'overheating': {
      const toOhm = options.toOhm ?? rated.voltageV * random.uniform(160, 280)
      return event({ kind: 'overheat', atFraction, afterS, toOhm, fallS: random.uniform(300, 900) })
    }
    case 'scintillating': return event({
      kind: 'scintillate', atFraction, afterS, dropFraction: random.uniform(0.025, 0.06),
      meanGapS: random.uniform(40, 200),
    })
    case 'opening': return event({ kind: 'open', atFraction, afterS })
    case 'bad-contact': return event(badContact(random, options))
    case 'reversed': return { reversed: true }
  }
}

function stale(rated: Rated, random: SeededRandom, depth: number): Partial<PartTruth> {
  assert(depth >= 0 && depth <= 1, 'depth is 0 to 1')
  return {
    formingV: rated.voltageV * (0.6 - 0.3 * depth) * random.uniform(0.97, 1.03),
    weakFraction: 5e-4 * 2 ** depth, growthEfficiency: random.uniform(0.75, 0.9),
  }
}

function gone(
  rated: Rated, random: SeededRandom,
  weak: [number, number], growth: [number, number], formed: [number, number],
): Partial<PartTruth> {
  return {
    weakFraction: random.uniform(...weak), growthEfficiency: random.uniform(...growth),
    formingV: rated.voltageV * random.uniform(...formed), bulkPerS: 2e-4 * random.uniform(1, 3),
  }
}

function driedOut(rated: Rated, random: SeededRandom): Partial<PartTruth> {
  const capacitanceF = rated.capacitanceF * random.uniform(0.2, 0.65)
  return {
    capacitanceF, branches: drawBranches(capacitanceF, random), growthEfficiency: random.uniform(0.1, 0.6),
    electrolyteOhm: seriesOhmLimit(rated) * random.uniform(3, 30),
  }
}

function badContact(random: SeededRandom, options: MakeOptions): PartEvent {
  const atS = options.contactAtS ?? random.uniform(600, 9000)
  if (!(options.intermittent ?? false)) return { kind: 'contact-open', atS }
  return {
    kind: 'contact-intermittent', atS, meanClosedS: random.uniform(20, 200), meanOpenS: random.uniform(2, 60),
  }
}
