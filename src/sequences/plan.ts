/** The plan of the forming sequences: worked out from files alone, touching nothing. Pure; SI units. */
import { formatSi } from '../base/format.ts'
import type { Plan, PlanStep } from '../schema/application.ts'
import type { Refusal } from '../schema/refusals.ts'
import type { PlanInput } from '../engine/sequence.ts'
import { chargeBudgetC } from '../safety/charge.ts'
import { seriesOhm } from '../engine/position.ts'
import { envelope } from '../safety/envelope.ts'
import { leakageLimit } from './leakage-limit.ts'
import type { ReformParameters } from './parameters.ts'
import { currents, partCurrents } from './part-currents.ts'
import { rest } from './rest.ts'
import { formingSteps } from './steps.ts'

/** Hydrogen per coulomb of forming charge (derived, 25 °C). */
const gasMlPerC = 0.127
const supplyHeadroom = 1.25
/** The supply's own protection: target, a share and a margin, and never past what a part bears briefly. */
const overVoltageShare = 1.08
const overVoltageMarginV = 3
const formalArrivalS = 60

export const cautions = [
  'High voltage and stored energy. A charged capacitor can kill long after the supply is off.',
  'Old capacitors can vent or burst. Close the cover; wear eye protection when it is open.',
  'Prove dead with an instrument and a discharge stick before touching, whatever a screen says.',
  'Mains-powered gear and work on it fall under local rules; leave it to qualified people.',
]

/**
 * Surge voltage of an aluminium electrolytic: 1.15 × rated up to 315 V, 1.10 × above it, for 30 s at a time
 * (an encyclopaedia citing IEC 60384-1, second hand; 440 V for 400 V and 495 V for 450 V were read in print).
 */
export const surgeV = (ratedV: number): number => ratedV * (ratedV <= 315 ? 1.15 : 1.1)

export function targetOf({ parts, parameters }: PlanInput<ReformParameters>): number {
  const lowest = Math.min(...parts.map(({ profile }) => profile.ratedV))
  return Number.isFinite(lowest) ? parameters.targetV ?? lowest : parameters.targetV ?? 0
}

/** `climbs`: the bus goes up in forming steps; otherwise in one slow ramp (a rested part). */
export function formingPlan(input: PlanInput<ReformParameters>, sequence: string, climbs: boolean): Plan {
  const { bench, parts, parameters, request, supply } = input
  const targetV = targetOf(input)
  const steps = planSteps(parameters, targetV, climbs)
  const supplyLimitA = supplyLimit(input, targetV)
  const bounds = envelope({
    bench, supply, targetV, supplyLimitA, use: request.use,
    parts: parts.map(({ loaded: { position, condition }, profile }) => ({ position, profile, condition })),
  })
  const tailS = tailOf(input, targetV, bounds.touchSafeAfterS)
  const longestS = steps.reduce((sum, { maxS }) => sum + maxS, 0) + tailS
  const largest = Math.max(0, ...parts.map(({ profile }) => profile.capacitanceF))
  const chargeMaxC = chargeBudgetC(largest, targetV)
  const rested = climbs ? { refusals: [], warnings: [] } : rest(input)
  return {
    sequence, use: request.use, targetV,
    expectedS: steps.reduce((sum, { minS }) => sum + minS, 0) + tailS, longestS,
    partEnergyMaxJ: bounds.partEnergyMaxJ, rackEnergyJ: bounds.rackEnergyJ,
    touchSafeAfterS: bounds.touchSafeAfterS,
    partDissipationMaxW: bounds.partDissipationMaxW, resistorDissipationW: bounds.resistorDissipationW,
    supplyLimitA, overVoltageV: protectionV(input, targetV),
    sweepS: input.sweepS, relayClosures: parts.length * 4, gasMl: chargeMaxC * gasMlPerC, chargeMaxC,
    partCurrentMaxA: partCurrents(input, targetV),
    steps, cautions, warnings: [
      ...bounds.warnings, ...belowRating(input, targetV), ...formalDrop(input, targetV), ...rested.warnings,
    ],
    refusals: [
      ...loading(input), ...bounds.refusals, ...pace(input), ...currents(input, targetV), ...rested.refusals,
    ],
  }
}

/** After the last step: formal readings, bleeding, recovery watch, bridge; seconds. */
function tailOf(
  { parts, parameters }: PlanInput<ReformParameters>, targetV: number, touchSafeAfterS: number,
): number {
  const formalS = parts.reduce((sum, { profile }) =>
    sum + formalArrivalS + leakageLimit(profile.leakage, profile.capacitanceF, targetV).afterS, 0)
  return formalS + touchSafeAfterS + parameters.watchS + parts.length * 5 + 120
}

/** At the terminals of the supply, which stand a diode above the part. */
function protectionV({ bench, parts }: PlanInput<ReformParameters>, targetV: number): number {
  const bearsV = Math.min(...parts.map(({ profile }) => surgeV(profile.ratedV)))
  return Math.min(targetV * overVoltageShare + overVoltageMarginV, bearsV + bench.fixture.diodeV)
}

function belowRating({ parts }: PlanInput<ReformParameters>, targetV: number): string[] {
  const highest = Math.max(...parts.map(({ profile }) => profile.ratedV))
  if (parts.length === 0 || targetV >= highest) return []
  return [`The target of ${targetV} V is below the rating of ${highest} V: `
    + `the grade will hold for ${targetV} V only, `
    + 'and a part that is not formed to its rating can read high in capacitance.']
}

/** More than this share of the target kept from a part at its limit is said (modelling choice). */
const formalDropShare = 0.002

/** The formal and the sense resistor keep some of the target from the part that is read. */
function formalDrop({ bench: { fixture }, parts }: PlanInput<ReformParameters>, targetV: number): string[] {
  const ohm = seriesOhm(fixture, { wiring: 'bus', formal: true }, false)
  const limits =
    parts.map(({ profile }) => leakageLimit(profile.leakage, profile.capacitanceF, targetV).limitA)
  const dropV = ohm * Math.max(0, ...limits)
  if (dropV <= formalDropShare * targetV) return []
  const stands = `${(targetV - dropV).toFixed(1)} V of ${targetV} V`
  return [`In its formal reading a part at its leakage limit stands at ${stands}; `
    + 'the value is carried to the target, with an uncertainty. '
    + 'A lower formal and sense resistor, or a part far below its limit, makes it small.']
}

function planSteps(p: ReformParameters, targetV: number, climbs: boolean): PlanStep[] {
  const polarity: PlanStep = { name: 'polarity', busV: p.polarityV, minS: 30, maxS: 120 }
  const soak = (seconds: number): PlanStep => ({ name: 'soak', busV: targetV, minS: seconds, maxS: seconds })
  if (!climbs) {
    const riseS = targetV / p.slewVPerS
    return [polarity, { name: 'rise', busV: targetV, minS: riseS, maxS: riseS + 60 }, soak(p.soakS)]
  }
  const stops = formingSteps(targetV, p.stepShare, p.fineStepShare, p.polarityV)
  let before = 0
  const climb = stops.map((busV): PlanStep => {
    const riseS = (busV - before) / p.slewVPerS
    before = busV
    const name = `step ${Math.round((100 * busV) / targetV)} %`
    return { name, busV, minS: riseS + p.minStepS, maxS: riseS + p.maxStepS }
  })
  return [polarity, ...climb, soak(p.soakS)]
}

/**
 * Bus bleeder, every part at its limit or charging, and one short through its limiting resistor, with
 * headroom and what the supply may err. */
function supplyLimit(
  { bench, parts, parameters, supply }: PlanInput<ReformParameters>, targetV: number,
): number {
  const perPart = parts.map(({ profile }) => Math.max(
    leakageLimit(profile.leakage, profile.capacitanceF, targetV).limitA,
    profile.capacitanceF * (1 + profile.tolerancePlus) * parameters.slewVPerS,
  ))
  const shortA = targetV / bench.fixture.limitOhm
  const bleederA = targetV / bench.fixture.busBleederOhm
  const sum = perPart.reduce((total, amps) => total + amps, 0) + bleederA + shortA
  return Math.ceil((sum * supplyHeadroom + supply.currentErrorA) * 1e4) / 1e4
}

/** What is loaded where: names that exist, once each. */
export function loading({ bench, parts }: Pick<PlanInput<unknown>, 'bench' | 'parts'>): Refusal[] {
  const names = new Set(bench.fixture.positions.map(({ name }) => name))
  const list: Refusal[] = []
  if (parts.length === 0) {
    list.push({ what: 'parts', have: 'none', need: 'at least one', wayOut: 'name the parts on the rack' })
  }
  const seen = new Map<string, number>()
  for (const { loaded } of parts) {
    seen.set(loaded.position, (seen.get(loaded.position) ?? 0) + 1)
    seen.set(`part ${loaded.part}`, (seen.get(`part ${loaded.part}`) ?? 0) + 1)
    if (!names.has(loaded.position)) {
      list.push({
        what: 'position', have: loaded.position, need: [...names].join(' '), position: loaded.position,
        wayOut: 'use a position of the bench file',
      })
    }
  }
  list.push(...parts.flatMap(printed))
  for (const [name, count] of seen) {
    if (count < 2) continue
    list.push({
      what: 'loaded twice', have: name, need: 'each position and part once', wayOut: 'correct the rack list',
    })
  }
  return list
}

/** Capacitances that differ by more than this are of other types (modelling choice). */
const capacitanceShare = 0.1

/** What is printed on a part, where the list says it, is what its profile says: a wrong one would harm it. */
function printed({ loaded, profile }: PlanInput<unknown>['parts'][number]): Refusal[] {
  const { position, ratedV = profile.ratedV, capacitanceF = profile.capacitanceF } = loaded
  const wayOut = `choose the profile of what is printed on it, not ${loaded.profile}`
  const list: Refusal[] = []
  if (ratedV !== profile.ratedV) {
    list.push({
      what: 'rated voltage as printed', have: `${ratedV} V`, need: `${profile.ratedV} V`, wayOut, position,
    })
  }
  if (Math.abs(capacitanceF - profile.capacitanceF) > capacitanceShare * profile.capacitanceF) {
    list.push({
      what: 'capacitance as printed', have: formatSi(capacitanceF, 'F'),
      need: `${formatSi(profile.capacitanceF, 'F')} within 10 %`, wayOut, position,
    })
  }
  return list
}

function pace({ bench: { cadence }, sweepS }: PlanInput<ReformParameters>): Refusal[] {
  const list: Refusal[] = []
  if (sweepS > cadence.sweepMs / 1000) {
    list.push({
      what: 'sweep cadence', have: `${cadence.sweepMs / 1000} s`,
      need: `at least ${sweepS.toFixed(2)} s with these instruments`,
      wayOut: 'sweep slower, or use a faster meter or shorter settling',
    })
  }
  if (cadence.sweepQuietMs < cadence.sweepMs) {
    list.push({
      what: 'quiet sweep cadence', have: `${cadence.sweepQuietMs / 1000} s`,
      need: `at least ${cadence.sweepMs / 1000} s, as when busy`,
      wayOut: 'scan slower when all is quiet: raise cadence.sweepQuietMs',
    })
  }
  return list
}
