/** What bench-check may be asked for, what it will do, and what its timing can follow. Pure; SI units. */
import { z } from 'zod'
import { seriesOhm } from '../engine/position.ts'
import type { PlanInput } from '../engine/sequence.ts'
import type { Plan } from '../schema/application.ts'
import type { Refusal } from '../schema/refusals.ts'
import type { FixtureSpec } from '../schema/bench.ts'
import type { PartProfile } from '../schema/part-profile.ts'
import { envelope } from '../safety/envelope.ts'
import { cautions } from './plan.ts'

export const benchCheckParameters = z.strictObject({
  voltageV: z.number().min(5).max(30).default(24)
    .describe('Low enough to touch (60 V DC, common practice) with a factor of two in hand; '
      + 'the meters see it well'),
  dummyShare: z.number().min(0.001).max(0.5).default(0.05)
    .describe('How far the known resistance may be off: 5 %, finer than the faults looked for '
      + '(modelling choice)'),
  bleederShare: z.number().min(0.05).max(0.4).default(0.2)
    .describe('How far a bleeder may be off: 20 %, resistors (5 %) and what absorption adds, '
      + 'far from half and double (modelling choice)'),
  leakageV: z.number().positive().max(1000).optional()
    .describe('Look at the insulation of the empty rack at this voltage too, above touch-safe; '
      + 'left out where parts sit on the rack'),
  readings: z.number().int().min(1).max(100).default(4).describe('Readings in each mean (modelling choice)'),
})
export type BenchCheckParameters = z.infer<typeof benchCheckParameters>

export const slewMaxVPerS = 5
/** Charging at this share of what a short takes stays far from the limit that drops a part. */
const chargeShare = 0.3
const supplyLeastA = 0.005
const supplyHeadroom = 1.25

// ---- following a discharge ----

const followMostMs = 15_000
/** At least this many readings, and over this share of a time constant. */
const followReadings = 3
const followShare = 0.5
/** The readings may take this many time constants of the smallest part at most. */
const followConstants = 1.5

/** How long a discharge is followed, ms: long enough for its slope, short enough that most of it is left. */
export const followMs = ({ capacitanceF }: PartProfile, bleederOhm: number, everyMs: number): number =>
  Math.min(followMostMs, Math.max(followReadings * everyMs, 1000 * followShare * capacitanceF * bleederOhm))

/** Whether sweeps are quick enough for the bleeder of such a part to be measured. */
export const followsIn = (
  { capacitanceF, toleranceMinus }: PartProfile, bleederOhm: number, everyMs: number,
): boolean =>
  followReadings * everyMs <= 1000 * followConstants * capacitanceF * (1 - toleranceMinus) * bleederOhm

// ---- charging through the low resistor ----

/** The part has charged so far through the limiting resistor when the low one is switched in. */
export const formalAtShare = 0.6
/**
 * With the low resistor in, charging takes this long at most, s: well below what the
 * supply may stay at its limit.
 */
export const formalMostS = 2
/** … and the supply can give this many times what the limiting resistor lets through. */
const formalCurrents = 4

const hasFormal = ({ formalOhm, positions }: FixtureSpec): boolean =>
  formalOhm !== undefined && positions.some(({ formalRelay }) => formalRelay !== undefined)

function formalA({ limitOhm }: FixtureSpec, farad: number, voltageV: number): number {
  const missingV = (1 - formalAtShare) * voltageV
  return Math.max(formalCurrents * voltageV / limitOhm, farad * missingV / (formalMostS / 2))
}

// ---- the plan ----

export const slewFor = (farad: number, voltageV: number, limitOhm: number): number =>
  Math.min(slewMaxVPerS, chargeShare * voltageV / limitOhm / farad)

export function benchCheckPlan(input: PlanInput<BenchCheckParameters>): Plan {
  const { bench, parts, parameters: { voltageV, leakageV }, request, supply } = input
  const { fixture, limits } = bench
  const targetV = Math.max(voltageV, leakageV ?? 0)
  const farads = parts.map(({ profile }) => profile.capacitanceF * (1 + profile.tolerancePlus))
  const largestF = Math.max(0, ...farads)
  const expectedS = expectedFor(input, largestF)
  const wantedA = Math.max(supplyLeastA, supplyHeadroom * needA(input, farads, targetV))
  const supplyLimitA = Math.min(limits.currentMaxA, wantedA)
  const atVoltage = leakageV === undefined ? null
    : envelope({ bench, supply, targetV, supplyLimitA, use: request.use, parts: [] })
  const partJ = farads.map(farad => 0.5 * farad * targetV ** 2)
  const steps = [{ name: 'check', busV: voltageV, minS: expectedS, maxS: 3 * expectedS }]
  if (leakageV !== undefined) {
    steps.push({ name: 'insulation', busV: leakageV, minS: leakageV / slewMaxVPerS, maxS: leakageV })
  }
  return {
    // Without a look at high voltage nothing in it can hurt by touch, whatever the night after it will be.
    sequence: 'bench-check', use: leakageV === undefined ? 'touch-safe' : request.use, targetV,
    expectedS: expectedS + (leakageV ?? 0) / slewMaxVPerS, longestS: 3 * expectedS + (leakageV ?? 0),
    partEnergyMaxJ: Math.max(0, ...partJ), rackEnergyJ: partJ.reduce((sum, joule) => sum + joule, 0),
    touchSafeAfterS: 0, partDissipationMaxW: targetV ** 2 / (4 * fixture.limitOhm),
    resistorDissipationW: targetV ** 2 / fixture.limitOhm, supplyLimitA, overVoltageV: targetV * 1.08 + 3,
    // Changeover twice and three relays at each test part; changeover and bridge relay elsewhere.
    sweepS: input.sweepS, relayClosures: 2 * parts.length + 3 * request.parts.length, gasMl: 0,
    chargeMaxC: largestF * voltageV, steps, cautions, warnings: atVoltage?.warnings ?? [],
    refusals: [...refusalsOf(input), ...atVoltage?.refusals ?? []],
  }
}

/** Rise, bus bleeder, and a part that charges through the low resistor. */
function needA(
  { bench: { fixture }, parameters: { voltageV } }: PlanInput<BenchCheckParameters>,
  farads: readonly number[], targetV: number,
): number {
  const largestF = Math.max(0, ...farads)
  const slew = slewFor(largestF, voltageV, fixture.limitOhm)
  const riseA = targetV / fixture.limitOhm + farads.reduce((sum, f) => sum + f, 0) * slew
  const loadA = hasFormal(fixture) ? Math.max(riseA, formalA(fixture, largestF, voltageV)) : riseA
  return targetV / fixture.busBleederOhm + loadA
}

/** Rise and settling together, then one test part after the other, then all of them down. */
function expectedFor(
  { bench: { fixture }, parts, request, parameters: { voltageV }, sweepS }: PlanInput<BenchCheckParameters>,
  largestF: number,
): number {
  const slew = slewFor(largestF, voltageV, fixture.limitOhm)
  const bleedS = largestF * seriesOhm(fixture, { wiring: 'released', formal: false }, false)
  const limitS = largestF * fixture.limitOhm
  const eachS = followMostMs / 1000 + 10 * sweepS + limitS + 10
  const sweepsS = parts.length * 3 * sweepS
  return 60 + voltageV / slew + 8 * limitS + request.parts.length * eachS + 12 * bleedS + sweepsS
}

function refusalsOf(input: PlanInput<BenchCheckParameters>): Refusal[] {
  const { bench: { limits }, request, parts, parameters: { voltageV, leakageV }, supply } = input
  const list = loadingRefusals(input)
  const mostV = Math.min(limits.touchSafeV, limits.voltageMaxV, supply.voltageMaxV)
  if (voltageV >= mostV) {
    list.push({
      what: 'voltageV', have: `${voltageV} V`, need: `below ${mostV} V`, wayOut: 'check at a lower voltage',
    })
  }
  if (leakageV !== undefined && request.parts.length > 0) {
    list.push({ what: 'leakageV', have: `${request.parts.length} parts on the rack`, need: 'an empty rack',
      wayOut: 'take the test parts off, or leave leakageV out' })
  }
  if (leakageV !== undefined && leakageV <= voltageV) {
    list.push({
      what: 'leakageV', have: `${leakageV} V`, need: `above ${voltageV} V`, wayOut: 'leave it out',
    })
  }
  for (const { loaded, profile } of parts) {
    if (profile.ratedV >= voltageV) continue
    list.push({
      what: 'rated voltage', have: `${profile.ratedV} V`, need: `${voltageV} V`,
      wayOut: 'use another test part',
      position: loaded.position,
    })
  }
  return list
}

function loadingRefusals({ bench: { fixture }, request }: PlanInput<BenchCheckParameters>): Refusal[] {
  const list: Refusal[] = []
  const last = fixture.positions.at(-1)!.name
  const names = new Set(fixture.positions.map(({ name }) => name))
  for (const { position } of request.parts) {
    const refuse = (have: string, need: string, wayOut: string): void => {
      list.push({ what: 'position', have, need, wayOut, position })
    }
    if (!names.delete(position)) refuse(position, 'each of the bench file once', 'correct the rack list')
    if (position === last && fixture.dummyOhm !== undefined) {
      refuse(`a part on ${last}`, 'the known resistance alone', 'put the part elsewhere')
    }
  }
  return list
}
