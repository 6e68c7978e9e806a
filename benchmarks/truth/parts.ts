/**
 * Parts for the truth study: each drawn so that its leakage, its capacitance or its ESR lies near a limit,
 * where a grade can go wrong. Half way between two limits every instrument is good enough and nothing is
 * learned.
 */
import { SeededRandom } from '../../src/base/random.ts'
import { ProfileFolder } from '../../src/app/files.ts'
import type { PartProfile } from '../../src/schema/part-profile.ts'
import { leakageLimit } from '../../src/sequences/leakage-limit.ts'
import type { Process } from '../../src/analysis/risk.ts'
import { verdicts, type Scenario } from '../../mocks/bench/scenario.ts'
import { fixtureFigures } from '../../mocks/bench/layout.ts'
import { impedanceOf } from '../../mocks/parts/impedance.ts'
import { makePart } from '../../mocks/parts/make-part.ts'
import { ElectrolyticPart } from '../../mocks/parts/part.ts'
import { formedAtRatio, type PartTruth, type Rated } from '../../mocks/parts/truth.ts'


/**
 * What carries the leakage of a part: plain resistance and sound oxide in any mixture, or weak oxide that has
 * not been formed to the rated voltage and conducts steeply.
 */
export type LeakageKind = 'steady' | 'forming'

export interface StudyPart {
  readonly seed: string
  readonly scenario: Scenario
  readonly profile: PartProfile
  readonly leakageKind: LeakageKind
  /** What its capacitance was drawn from, where that is near a limit: normal, F. */
  readonly priorF: Process | null
  /** The same of its ESR, ohm. */
  readonly priorOhm: Process | null
}

export interface PartDraw {
  /** Air at the bench, °C. */
  readonly ambientC: number
  /** Share of parts that are still forming. */
  readonly forming: number
  readonly profiles: readonly string[]
}

export const usualDraw: PartDraw = {
  ambientC: 20, forming: 0.2, profiles: ['al-450v-47u-general', 'al-450v-47u-general', 'al-50v-100u-axial'],
}

/** Share of parts that lie near the limit of each criterion; the rest lie well inside. */
const nearShare = 0.7
/**
 * Standard deviation of the true value about its limit, as a share of the limit: some five standard
 * uncertainties.
 */
export const spread = { leakage: 0.03, capacitance: 0.003, esr: 0.01 } as const
const temperatureOfLimitC = 20
/**
 * The bus and the cans are read more seldom than usual, to save time; the part itself as the defaults have
 * it.
 */
const cadence = { busMs: 500, busQuietMs: 2000, temperatureMs: 60_000 }

const folder = new ProfileFolder(null)
const profiles = new Map<string, PartProfile>()

/** Part `index` of a study: the same seed and index always give the same part. */
export function drawPart(seed: number, index: number, draw: PartDraw = usualDraw): StudyPart {
  const name = `truth-${seed}-${index}`
  const random = new SeededRandom(name)
  const partProfile = random.pick(draw.profiles)
  const profile = profileOf(partProfile)
  const rated = { voltageV: profile.ratedV, capacitanceF: profile.capacitanceF }
  const leakageKind = random.next() < draw.forming ? 'forming' : 'steady'
  const sound = makePart('healthy', rated, random.next(), { ambientC: temperatureOfLimitC }).truth
  const steadied = { ...sound, deformedExcess: 0, electrolyteSlopeK: 0 }
  const { bridged, priorF, priorOhm } = withImpedance(steadied, profile, random)
  const { limitA, afterS } = leakageLimit(profile.leakage, profile.capacitanceF, profile.ratedV)
  const wantedA = limitA * (near(random) ? 1 + spread.leakage * random.normal() : random.uniform(0.1, 0.7))
  const truth = withLeakage(bridged, rated, leakageKind, { wantedA, afterS }, random)
  return {
    seed: name, profile, leakageKind, priorF, priorOhm,
    scenario: {
      name: 'truth', description: 'one part of the truth study', seed: index, rated, partProfile,
      dummyOhm: 100e6, ambientC: draw.ambientC, cadence,
      parts: [{ position: 'P01', id: 'T-1', kind: 'healthy', options: { truth }, ...verdicts.healthy }],
    },
  }
}

const drawn = ({ mean, sd }: Process, random: SeededRandom): number => mean + sd * random.normal()
const near = (random: SeededRandom): boolean => random.next() < nearShare

function profileOf(name: string): PartProfile {
  const profile = profiles.get(name) ?? folder.part(name).profile
  profiles.set(name, profile)
  return profile
}

interface Bridged { bridged: PartTruth; priorF: Process | null; priorOhm: Process | null }

/**
 * Capacitance and ESR at the bridge's frequency (the ESR kept from changing with temperature), each near a
 * limit or well inside.
 */
function withImpedance(truth: PartTruth, profile: PartProfile, random: SeededRandom): Bridged {
  const { capacitanceF, toleranceMinus, tolerancePlus, bridgeHz, dissipationMax, esrFactorMax } = profile
  const edge = random.next() < 0.5 ? 1 - toleranceMinus : 1 + tolerancePlus
  const mean = capacitanceF * edge
  const priorF = near(random) ? { mean, sd: spread.capacitance * mean } : null
  const wantedF = priorF ? drawn(priorF, random) : capacitanceF * random.uniform(0.92, 1.08)
  const limitOhm = esrFactorMax * dissipationMax / (2 * Math.PI * bridgeHz * capacitanceF)
  const priorOhm = near(random) ? { mean: limitOhm, sd: spread.esr * limitOhm } : null
  const wantedOhm = priorOhm ? drawn(priorOhm, random) : limitOhm * random.uniform(0.4, 0.8)
  const scaled = scaleCapacitance(truth, wantedF / seen(truth, bridgeHz).seriesF)
  const electrolyteOhm = wantedOhm - seen({ ...scaled, electrolyteOhm: 0 }, bridgeHz).ohm
  return { bridged: { ...scaled, electrolyteOhm }, priorF, priorOhm }
}

function scaleCapacitance(truth: PartTruth, by: number): PartTruth {
  const branches = truth.branches.map(branch => ({ ...branch, capacitanceF: branch.capacitanceF * by }))
  return { ...truth, capacitanceF: truth.capacitanceF * by, branches }
}

function seen(truth: PartTruth, hertz: number): { seriesF: number; ohm: number } {
  const { re, im } = impedanceOf(truth, {
    hertz, shuntS: 0, electrolyteOhm: truth.electrolyteOhm, formedRatio: formedAtRatio,
  })
  return { seriesF: -1 / (2 * Math.PI * hertz * im), ohm: re }
}

/**
 * Finds by trial on the bare physics how strong the leakage must be to come out as wanted at the formal
 * instant.
 */
function withLeakage(
  truth: PartTruth, rated: Rated, kind: LeakageKind, { wantedA, afterS }: { wantedA: number; afterS: number },
  random: SeededRandom,
): PartTruth {
  const formingV = rated.voltageV * random.uniform(0.9, 1.1)
  const oxideShare = random.next()
  const of = (strength: number): PartTruth => {
    if (kind === 'forming') return { ...truth, bulkPerS: 1e-5, formingV, weakFraction: 2e-3 * strength }
    const inA = strength * wantedA
    return {
      ...truth, bulkPerS: oxideShare * inA / (truth.capacitanceF * rated.voltageV),
      shuntOhm: rated.voltageV / ((1 - oxideShare) * inA),
    }
  }
  let strength = 1
  for (let turn = 0; turn < 12; turn++) {
    const share = formalA(of(strength), rated, afterS) / wantedA
    strength /= Math.min(4, Math.max(0.25, share))
    if (Math.abs(share - 1) < 2e-4) break
  }
  return of(strength)
}

/** A wait behind the limiting resistor, then the formal time with the part itself at rated voltage. */
function formalA(truth: PartTruth, rated: Rated, afterS: number): number {
  const part = new ElectrolyticPart('trial', rated, truth, 0, temperatureOfLimitC)
  const { limitOhm, senseOhm, senseClampV } = fixtureFigures
  const soakedS = 10 * limitOhm * rated.capacitanceF
  part.connect(0, limitOhm, senseOhm, senseClampV)
  part.drive(0, rated.voltageV)
  part.connect(soakedS, 1, 0, senseClampV)
  part.ensure(soakedS + afterS)
  return part.currentA(soakedS + afterS)
}
