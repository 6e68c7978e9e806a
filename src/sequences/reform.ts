/** Forms old electrolytics back, soaks them, reads their leakage, bleeds, measures and grades them. */
import type { Night } from '../engine/night.ts'
import { defineSequence } from '../engine/sequence.ts'
import { connect, moveBus } from '../engine/bus.ts'
import { bleedAll } from '../engine/bleed.ts'
import { watchAndFollow } from '../engine/recovery.ts'
import { readLow } from '../safety/held.ts'
import { condemned as rejected, untold } from '../safety/verdict.ts'
import type { Verdict } from '../safety/verdict.ts'
import type { PositionState } from '../engine/position.ts'
import type { BridgeReading } from '../schema/roles.ts'
import type { Criterion } from '../schema/run.ts'
import { bridgeReading, esrLimitOhm } from './bridge.ts'
import { climb, polarityStop, soak, stage } from './climb.ts'
import type { Leavings } from './climb.ts'
import { formalReadings } from './formal.ts'
import { criterion, show } from './criteria.ts'
import { tellKeptOff } from './kept-off.ts'
import { gradeParts } from './grade.ts'
import { reformParameters, soakParameters } from './parameters.ts'
import type { ReformParameters } from './parameters.ts'
import { cautions, formingPlan } from './plan.ts'

/** A rack needs more; its bench file says so. */
const roles = ['supply', 'sense-meter'] as const

/** De-formed oxide reads high, so before forming the bridge condemns only what no forming can mend. */
const openShare = 0.05
const grossEsrFactor = 20

export const reform = defineSequence<ReformParameters>({
  name: 'reform',
  summary: 'Forms a rack of one rated voltage in steps, soaks it, reads leakage at rated voltage '
    + 'and grades provisionally',
  cautions, parameters: reformParameters, roles, energises: true,
  plan: input => formingPlan(input, 'reform', true),
  run: (night, parameters) => throughTheNight(night, parameters, true),
})

export const leakageSoak = defineSequence<ReformParameters>({
  name: 'leakage-soak',
  summary: 'Second formal reading of parts that rested 12 to 48 hours: closes their provisional grade',
  cautions, parameters: soakParameters, roles, energises: true,
  plan: input => formingPlan(input, 'leakage-soak', false),
  run: (night, parameters) => throughTheNight(night, parameters, false),
})

const nothing = {
  traces: new Map(), formal: new Map(), recoveredV: new Map(), bridge: new Map(),
  lost: new Set<PositionState>(),
}

async function throughTheNight(night: Night, p: ReformParameters, climbs: boolean): Promise<void> {
  const leavings: Leavings = new Map()
  night.sampler.attend(30_000)
  await firstCheck(night, leavings)
  const sound = night.positions.filter(position => position.stage !== 'dropped')
  if (sound.length === 0) {
    return await gradeParts(night, { ...nothing, leavings, provisional: climbs, targetV: night.plan.targetV })
  }
  await connect(night, sound)
  await polarityStop(night, p, leavings)
  if (climbs) await climb(night, p, leavings)
  else await moveBus(night, night.plan.targetV, p.slewVPerS)
  const traces = await soak(night, p.soakS)
  const formal = await formalReadings(night)
  // Parts leave first: on the bus they would feed it through their limiting resistors for minutes.
  stage(night, 'bleeding')
  const bled = await bleedAll(night)
  const lost = new Set(bled.filter(({ held }) => held.state !== 'dead'))
  await moveBus(night, 0, night.plan.targetV)
  stage(night, 'watching')
  const recoveredV = await watchAndFollow(night, 1000 * p.watchS)
  const bridge = await measureAll(night, bled)
  await gradeParts(night, {
    traces, leavings, formal, recoveredV, bridge, lost, provisional: climbs,
    targetV: night.plan.targetV,
  })
}

/** The bridge before any energy: open, shorted or hopeless parts never see the bus. */
async function firstCheck(night: Night, leavings: Leavings): Promise<void> {
  stage(night, 'checking')
  for (const position of night.positions) {
    if (position.stage === 'dropped') continue
    if (position.fault === null) position.held = readLow(position.held, night.bench.limits.touchSafeV)
    const reading = await bridgeReading(night, position)
    if (reading === null) continue
    if (typeof reading !== 'string' && reading.capacitance.quality === 'good') {
      position.seenF = reading.capacitance.value
    }
    const found = typeof reading === 'string'
      ? { why: reading, criteria: [], verdict: untold } : findings(position, reading)
    if (found === null) continue
    const { why, criteria, verdict } = found
    position.stage = 'dropped'
    position.note = why
    night.supervisor.release(position.spec.name)
    leavings.set(position, { ...verdict, reason: why, stepV: 0, criteria })
    await tellKeptOff(night, position, {
      kind: verdict === rejected ? 'condemned' : 'unjudged', why, foundMs: foundAt(night, reading),
    })
  }
}

const foundAt = (night: Night, reading: BridgeReading | string): number =>
  typeof reading === 'string' ? night.clock.monotonicMs() : reading.esr.atMs

/** What keeps a part off the bus. */
interface Found { why: string; criteria: readonly Criterion[]; verdict: Verdict }

/** An open part and an open lead look the same to the bridge: only what a lead cannot feign condemns. */
function findings(position: PositionState, { capacitance, esr }: BridgeReading): Found | null {
  if (capacitance.quality !== 'good' || esr.quality !== 'good') {
    const why = 'the bridge finds no capacitor: open, shorted, or its lead is off'
    return { why, criteria: [], verdict: untold }
  }
  const lowF = openShare * position.profile.capacitanceF
  const highOhm = grossEsrFactor * esrLimitOhm(position)
  if (capacitance.value < lowF) {
    const source = `${100 * openShare} % of the rated value: less is open`
    const entry = criterion('capacitance', capacitance, 'F', { low: lowF }, source)
    return { why: `open, or its lead is off: ${show(entry)}`, criteria: [entry], verdict: untold }
  }
  if (esr.value <= highOhm) return null
  const source = `${grossEsrFactor} × the ESR of a new part, from its tan δ limit`
  const entry = criterion('esr', esr, 'Ω', { high: highOhm }, source)
  return { why: `gross ESR: ${show(entry)}`, criteria: [entry], verdict: rejected }
}

async function measureAll(
  night: Night, bled: readonly PositionState[],
): Promise<Map<PositionState, BridgeReading | string>> {
  stage(night, 'measuring')
  const readings = new Map<PositionState, BridgeReading | string>()
  for (const position of bled) {
    if (position.held.state !== 'dead') continue
    const reading = await bridgeReading(night, position)
    if (reading) readings.set(position, reading)
  }
  return readings
}
