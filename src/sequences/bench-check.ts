/**
 * The bench looks at itself at low voltage before an unattended night. Empty positions show only their
 * insulation: a relay that leads to nothing carries nothing, closed or open. What sits on a position shows its
 * relay (a known resistor), and its bleeder too (a sound capacitor named in the request).
 */
import { z } from 'zod'
import { connect, moveBus, next, release, rest } from '../engine/bus.ts'
import { followAll } from '../engine/discharge.ts'
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import { emptyHolder, partVolts, seriesOhm } from '../engine/position.ts'
import { defineSequence } from '../engine/sequence.ts'
import type { PlanInput } from '../engine/sequence.ts'
import type { Plan, Refusal } from '../schema/application.ts'
import type { Cutoff, Supply } from '../schema/roles.ts'
import {
  dischargeCheck, dummyCheck, failed, judge, leakageCheck, less, releasedCheck, resultOf, shown, shownU,
  yesNo,
} from './bench-check-judge.ts'
import type { Check, Seen, Unshown } from './bench-check-judge.ts'
import { stage } from './climb.ts'
import { cautions } from './plan.ts'

export const benchCheckParameters = z.strictObject({
  voltageV: z.number().min(5).max(30).default(24)
    .describe('Low enough to touch (60 V DC, common practice) with a factor of two in hand; the meters see it well'),
  dummyShare: z.number().min(0.001).max(0.5).default(0.05)
    .describe('How far the known resistance may be off: 5 %, finer than the faults looked for (modelling choice)'),
  readings: z.number().int().min(1).max(100).default(4).describe('Readings in each mean (modelling choice)'),
})
type Parameters = z.infer<typeof benchCheckParameters>

interface Findings { checks: Check[]; unshown: Unshown[]; faults: Map<PositionState, string> }
type Currents = Map<PositionState, Seen>

/** Settling: time constants of the largest part, and at least this long, ms. */
const settleConstants = 8
const settleMsMin = 5000
const slewMaxVPerS = 5
/** Charging at this share of what a short takes stays far from the limit that drops a part. */
const chargeShare = 0.3
/** Charging seen: this share of what the smallest part within tolerance takes. */
const chargedShare = 0.3
const busFallMs = 5000
const supplyLeastA = 0.005

export const benchCheck = defineSequence<Parameters>({
  name: 'bench-check',
  summary: 'Interlock, cutoff, insulation, known resistance, and relays and bleeders where a test part sits; '
    + '30 V at most. Not shown: relays and bleeders of empty positions, the bus bleeder beside the meter, and '
    + 'that the cutoff drops when nobody refreshes it, which is the keeper\'s',
  cautions, parameters: benchCheckParameters, roles: ['supply', 'bus-meter', 'sense-meter', 'positions'], energises: true,
  everyPosition: true, plan,
  run: async (night, p) => {
    const found: Findings = { checks: [], unshown: [], faults: new Map() }
    stage(night, 'checking')
    await checkInterlock(night, found)
    const zero = await readAll(night, p.readings)
    await connect(night, night.positions)
    const peaks = await rise(night, p)
    const standing = await checkHeld(night, found, zero, p)
    await checkReleased(night, found, zero, standing, peaks, p)
    await checkCutoff(night, found, p)
    await report(night, found)
  },
})

const isEmpty = ({ profile }: PositionState): boolean => profile === emptyHolder
const isDummy = (night: Night, { index }: PositionState): boolean =>
  night.bench.fixture.dummyOhm !== undefined && index === night.bench.fixture.positions.length - 1
const living = (night: Night): PositionState[] => night.positions.filter(({ stage: at }) => at !== 'dropped')

// ---- the steps ----

/** Arming has refused already where the cover is open or nobody is there; this says what it saw. */
async function checkInterlock(night: Night, found: Findings): Promise<void> {
  const { interlock } = night.roles
  if (!interlock) { found.unshown.push('the bench has no interlock'); return }
  const { coverClosed, present } = await interlock.read()
  const criterion = yesNo(coverClosed && present, 'cover closed and somebody present')
  found.checks.push({ position: null, what: 'interlock', criterion })
}

/** From 0 V with everything on the bus; gives the highest charging current of each position. */
async function rise(night: Night, p: Parameters): Promise<Map<PositionState, number>> {
  const slew = slewOf(night)
  const peaks = new Map<PositionState, number>()
  let moving = true
  night.sampler.hurry(1000 * p.voltageV / slew + settleMsMin, 500)
  const watching = night.positions.map(async position => {
    while (moving) {
      const { value } = await next(night, `${position.spec.name}.current`, night.clock.monotonicMs())
      peaks.set(position, Math.max(peaks.get(position) ?? 0, value))
    }
  })
  await Promise.all([moveBus(night, p.voltageV, slew).finally(() => { moving = false }), ...watching])
  await rest(night, Math.max(settleMsMin, 1000 * settleConstants * largestF(night) * night.bench.fixture.limitOhm))
  return peaks
}

/** Insulation and known resistance with the bus at its voltage. Gives what each took, and what stood on it. */
async function checkHeld(night: Night, found: Findings, zero: Currents, p: Parameters): Promise<Currents> {
  const { fixture } = night.bench
  const held = await readAll(night, p.readings)
  const bus = await busNow(night)
  found.checks.push({ position: null, what: 'cutoff closes', criterion: judge('bench', bus, 'V', {
    low: 0.9 * p.voltageV - 1, high: 1.1 * p.voltageV + 1 }, 'the bus follows the supply') })
  let shownOhm = Infinity
  for (const position of living(night)) {
    const seen = less(held.get(position)!, zero.get(position)!)
    if (isDummy(night, position)) {
      const ohm = fixture.dummyOhm! + fixture.limitOhm + fixture.senseOhm
      const check = dummyCheck(position, seen, bus, ohm, p.dummyShare)
      found.checks.push(check)
      if (failed(check)) found.faults.set(position, seen.value < shownU * seen.u
        ? 'the relay does not close, or the lead is open' : 'the known resistance does not read right')
    } else if (isEmpty(position)) {
      const leakage = leakageCheck(position, seen, bus.value, fixture.leakageOhmMin)
      shownOhm = Math.min(shownOhm, leakage.shownOhm)
      found.checks.push(leakage.check)
      if (!failed(leakage.check)) continue
      found.faults.set(position, `takes ${(1e9 * seen.value).toFixed(0)} nA though it is empty`)
    }
  }
  if (shownOhm < 0.999 * fixture.leakageOhmMin) {
    found.unshown.push(`insulation above ${shown(shownOhm)}: the bench file asks for ${shown(fixture.leakageOhmMin)}, `
      + `which this meter would show from ${(p.voltageV * fixture.leakageOhmMin / shownOhm).toFixed(0)} V`)
  }
  if (fixture.dummyOhm === undefined) found.unshown.push('the fixture has no known resistance')
  return new Map([...held].map(([position, seen]) => [position, less(seen, zero.get(position)!)]))
}

/** One position after the other, so that each relay is seen to belong to its own sense resistor. */
async function checkReleased(
  night: Night, found: Findings, zero: Currents, held: Currents, peaks: Map<PositionState, number>,
  p: Parameters,
): Promise<void> {
  const slew = slewOf(night)
  for (const position of living(night)) {
    if (isEmpty(position) && !isDummy(night, position)) continue
    const stoodV = partVolts(night.bench.fixture, position, false) ?? p.voltageV
    night.sampler.hurry(5000, 200)
    const releasedMs = night.clock.monotonicMs()
    await release(night, [position])
    await rest(night, night.roles.positions!.settleMs)
    const seen = less(await mean(night, position, 1), zero.get(position)!)
    if (isEmpty(position)) { judgeReleasedDummy(found, position, seen, held.get(position)!); continue }
    const bleedOhm = seriesOhm(night.bench.fixture, position, false)
    const check = dischargeCheck(position, seen, stoodV, seen.atMs - releasedMs, bleedOhm)
    if (!check) {
      found.unshown.push(`${position.spec.name}: ${position.part.part} is too small to show its discharge`)
      continue
    }
    found.checks.push(check)
    if (!failed(check)) continue
    const { capacitanceF, toleranceMinus } = position.profile
    const charged = (peaks.get(position) ?? 0) > chargedShare * capacitanceF * (1 - toleranceMinus) * slew
    found.faults.set(position, charged
      ? 'charged, and sent nothing back: the bleeder is open' : 'the relay does not close, or the lead is open')
  }
  const empty = living(night).filter(position => isEmpty(position) && !isDummy(night, position))
  await release(night, empty)
  if (empty.length > 0) {
    found.unshown.push(
      `relays and bleeders of ${empty.length} empty positions: nothing sits there that carries current`)
  }
  if (night.positions.some(position => isDummy(night, position))) {
    found.unshown.push('the bleeder of the known resistance: it holds no charge')
  }
}

/** Where it did not close there is no current whose end could be seen. */
function judgeReleasedDummy(found: Findings, position: PositionState, seen: Seen, held: Seen): void {
  if (found.faults.has(position)) return
  const check = releasedCheck(position, seen, held.value)
  found.checks.push(check)
  if (failed(check)) found.faults.set(position, 'the relay does not open (welded)')
}

/** The supply stays on: it must be the contact that takes the bus down. */
async function checkCutoff(night: Night, found: Findings, p: Parameters): Promise<void> {
  const { cutoff, supply } = night.roles as { cutoff?: Cutoff; supply: Supply }
  if (!cutoff) { found.unshown.push('the bench has no cutoff'); return }
  let opened = true
  try { await cutoff.open() } catch { opened = false }
  const fell = await busFalls(night, 0.5 * p.voltageV)
  const supplyV = await supply.readVoltage()
  await findWelded(night, found)
  const heldUp = !fell && [...found.faults].some(([position]) => !isEmpty(position))
  if (heldUp) found.unshown.push('the fall of the bus: a part that did not leave it holds it up')
  found.checks.push({ position: null, what: 'cutoff opens', criterion: yesNo(
    opened && (fell || heldUp) && supplyV.value > 0.8 * p.voltageV,
    'contact open and bus down while the supply stays on') })
}

async function busFalls(night: Night, belowV: number): Promise<boolean> {
  const endMs = night.clock.monotonicMs() + busFallMs
  while (night.clock.monotonicMs() < endMs) {
    const { value } = await next(night, night.channels.busVoltage.name, night.clock.monotonicMs())
    if (value < belowV) return true
  }
  return false
}

/** A charged part that is still on the bus feeds its bleeder now; one with an open bleeder feeds nothing. */
async function findWelded(night: Night, found: Findings): Promise<void> {
  for (const position of found.faults.keys()) {
    if (isEmpty(position)) continue
    const seen = await mean(night, position, 1)
    if (seen.value < -shownU * seen.u) found.faults.set(position, 'the relay does not open (welded)')
  }
}

// ---- the end ----

async function report(night: Night, found: Findings): Promise<void> {
  for (const check of found.checks) await say(night, found, check)
  for (const text of found.unshown) {
    await night.recorder.event({ kind: 'check-unshown', text: `not shown: ${text}` })
  }
  const loaded = living(night).filter(position => !isEmpty(position))
  await followAll(night, living(night), new Map(loaded.map(position => [position, night.plan.targetV])))
  for (const position of night.positions) {
    const dropped = position.stage === 'dropped'
    const checks = dropped
      ? [...found.checks, { position, what: 'dropped', criterion: yesNo(false, position.note) }] : found.checks
    position.result = resultOf(position, checks, found.faults)
    if (!dropped) position.stage = 'graded'
  }
}

async function say(night: Night, found: Findings, check: Check): Promise<void> {
  const { position, what, criterion } = check
  const where = position === null ? '' : `${position.spec.name} `
  const why = (position && found.faults.get(position)) ?? criterion.source
  const bad = failed(check)
  await night.recorder.event({
    kind: bad ? 'check-failed' : 'check', severity: bad ? 'warning' : 'info',
    ...(position === null ? {} : { position: position.spec.name }),
    text: bad ? `${where}${what}: ${why}` : `${where}${what}: passed`,
    data: {
      value: criterion.value, unit: criterion.unit, expandedU: criterion.expandedU, grade: criterion.grade,
    },
  })
}

// ---- readings ----

async function readAll(night: Night, count: number): Promise<Currents> {
  night.sampler.hurry(1000 * count + settleMsMin, 500)
  return new Map(await Promise.all(night.positions.map(async position =>
    [position, await mean(night, position, count)] as const)))
}

/** The meter's own error does not average out, so the uncertainty stays that of one reading. */
async function mean(night: Night, { spec }: PositionState, count: number): Promise<Seen> {
  let sum = 0
  let last = { u: 0, atMs: night.clock.monotonicMs() }
  for (let i = 0; i < count; i++) {
    const reading = await next(night, `${spec.name}.current`, last.atMs)
    sum += reading.value
    last = reading
  }
  return { value: sum / count, u: last.u, atMs: last.atMs }
}

async function busNow(night: Night): Promise<Seen> {
  const { value, u, atMs } = await next(night, night.channels.busVoltage.name, night.clock.monotonicMs())
  return { value, u, atMs }
}

const largestOf = (farads: readonly number[]): number => Math.max(0, ...farads)
const largestF = (night: Night): number =>
  largestOf(night.positions.map(({ profile }) => profile.capacitanceF * (1 + profile.tolerancePlus)))
const slewFor = (farad: number, voltageV: number, limitOhm: number): number =>
  Math.min(slewMaxVPerS, chargeShare * voltageV / limitOhm / farad)
const slewOf = (night: Night): number =>
  slewFor(largestF(night), night.plan.targetV, night.bench.fixture.limitOhm)

// ---- the plan ----

function plan(input: PlanInput<Parameters>): Plan {
  const { bench: { fixture, limits }, parts, parameters: { voltageV } } = input
  const farads = parts.map(({ profile }) => profile.capacitanceF * (1 + profile.tolerancePlus))
  const slew = slewFor(largestOf(farads), voltageV, fixture.limitOhm)
  const needA = voltageV / fixture.busBleederOhm + voltageV / fixture.limitOhm
    + farads.reduce((sum, f) => sum + f, 0) * slew
  const expectedS = 60 + voltageV / slew + 3 * settleConstants * largestOf(farads) * fixture.bleederOhm
    + parts.length * 3 * input.sweepS
  const partJ = farads.map(farad => 0.5 * farad * voltageV ** 2)
  return {
    // Nothing in it can hurt by touch, whatever the night after it will be.
    sequence: 'bench-check', use: 'touch-safe', targetV: voltageV, expectedS, longestS: 3 * expectedS,
    partEnergyMaxJ: largestOf(partJ), rackEnergyJ: partJ.reduce((sum, joule) => sum + joule, 0),
    touchSafeAfterS: 0, partDissipationMaxW: voltageV ** 2 / (4 * fixture.limitOhm),
    resistorDissipationW: voltageV ** 2 / fixture.limitOhm,
    supplyLimitA: Math.min(limits.currentMaxA, Math.max(supplyLeastA, 1.25 * needA)),
    overVoltageV: voltageV * 1.08 + 3,
    sweepS: input.sweepS, relayClosures: parts.length, gasMl: 0, chargeMaxC: largestOf(farads) * voltageV,
    steps: [{ name: 'check', busV: voltageV, minS: expectedS, maxS: 3 * expectedS }], cautions, warnings: [],
    refusals: refusalsOf(input),
  }
}

function refusalsOf(input: PlanInput<Parameters>): Refusal[] {
  const { bench: { fixture, limits }, request, parts, parameters: { voltageV }, supply } = input
  const list: Refusal[] = []
  const mostV = Math.min(limits.touchSafeV, limits.voltageMaxV, supply.voltageMaxV)
  if (voltageV >= mostV) {
    list.push({
      what: 'voltageV', have: `${voltageV} V`, need: `below ${mostV} V`, wayOut: 'check at a lower voltage',
    })
  }
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
  for (const { loaded, profile } of parts) {
    if (profile.ratedV >= voltageV) continue
    list.push({
      what: 'rated voltage', have: `${profile.ratedV} V`, need: `${voltageV} V`, wayOut: 'use another test part',
      position: loaded.position,
    })
  }
  return list
}
